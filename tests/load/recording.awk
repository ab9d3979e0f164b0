# Writes a synthetic pressure-flow recording as JSON: 30 min, 8 channels, 10 Hz. The numbers are made up
# to be of realistic length and shape; they are not anyone's and the load test does not look at them.
#   awk -f recording.awk

# A repeatable noise in [-0.5, 0.5): the generator of Park and Miller (1988).
function noise() {
    seed = (seed * 16807) % 2147483647
    return seed / 2147483647 - 0.5
}

function flow_at(t) {
    return t > VOID && t < VOID + 60 ? 18 * sin(3.14159265 * (t - VOID) / 60) ^ 2 : 0
}

# One cough a minute, felt by both pressure lines.
function cough_at(t,    c) {
    c = t % 60 - 30
    return 55 * exp(-c * c / 0.1)
}

function channel(signal, unit, digits,    i, t, out, format, volume) {
    format = "%." digits "f"
    out = sprintf("%s{\"signal\":\"%s\",\"unit\":\"%s\",\"rate_hz\":%d,\"start_s\":0,\"samples\":[",
                  signal == "pves" ? "" : ",", signal, unit, RATE)
    printf "%s", out
    volume = 0
    for (i = 0; i < DURATION * RATE; i++) {
        t = i / RATE
        volume += flow_at(t) / RATE
        printf (i > 0 ? "," : "") format, value(signal, t, i, volume)
    }
    printf "]}"
}

function value(signal, t, i, volume) {
    if (signal == "pves") return pabd[i] + pdet[i]
    if (signal == "pabd") return pabd[i]
    if (signal == "pdet") return pdet[i]
    if (signal == "pura") return 60 + 4 * noise()
    if (signal == "flow") return flow_at(t)
    if (signal == "vvoid") return volume
    if (signal == "vinf") return (t < FILLED ? t : FILLED) * 20 / 60
    return 8 + 6 * noise()
}

BEGIN {
    seed = 20240229; RATE = 10; DURATION = 1800; FILLED = 1500; VOID = 1560
    for (i = 0; i < DURATION * RATE; i++) {
        t = i / RATE
        pabd[i] = int(10 * (30 + cough_at(t) + noise())) / 10
        pdet[i] = int(10 * (4 + t / 200 + 2 * flow_at(t) + 0.6 * noise())) / 10
    }
    printf "{\"type\":\"pressure_flow\",\"started_at\":\"2024-02-29T09:00:00Z\","
    printf "\"conditions\":{\"position\":\"sitting\",\"filling_rate_ml_min\":20,\"post_void_residual_ml\":20},"
    printf "\"channels\":["
    channel("pves", "cm[H2O]", 1)
    channel("pabd", "cm[H2O]", 1)
    channel("pdet", "cm[H2O]", 1)
    channel("pura", "cm[H2O]", 1)
    channel("flow", "mL/s", 2)
    channel("vvoid", "mL", 1)
    channel("vinf", "mL", 1)
    channel("emg", "uV", 2)
    printf "],\"events\":[{\"at_s\":0,\"code\":\"filling_start\"},{\"at_s\":600,\"code\":\"first_sensation\"},"
    printf "{\"at_s\":1400,\"code\":\"strong_desire\"},{\"at_s\":%d,\"code\":\"filling_stop\"},", FILLED
    printf "{\"at_s\":%d,\"code\":\"permission_to_void\"}]}", VOID - 10
}
