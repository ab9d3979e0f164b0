# Prints the figures of tests/load/run for people: lines "name value" in, with the goals beside what they
# are for.

{v[$1] = $2}

# How a goal is met, in words. A figure that is not there meets none.
function goal(name, met, text) {
    return sprintf("   goal %s: %s", text, v[name] == "" ? "NOT MEASURED" : met ? "met" : "MISSED")
}

function most(name, limit, of) {
    return goal(name, v[name] <= limit, sprintf("<= %g%s", limit, of))
}

function least(name, limit, of) {
    return goal(name, v[name] >= limit, sprintf(">= %g%s", limit, of))
}

function form(title, name, limit, aim) {
    printf "  %-22s %6.2f %8.1f %8.1f %8.1f %8.1f %8s %8.1f %7.2f %8.2f %8.2f%s\n", title, v[name "-mb"],
        v[name "-total"], v[name "-parse"], v[name "-compute"], v[name "-store"],
        name "-cpu" in v ? v[name "-cpu"] : "-", v[name "-bare"], v["ratio-" name], v["ratio-" name "-packed"],
        v["ratio-" name "-plain"], limit ? most("ratio-" name "-plain", limit, " x plain" aim) : ""
}

function size(title, name) {
    printf "  %-22s %10.3f %10.3f %10.3f %10.3f\n", title, v[name "-size"], v[name "-size-all"],
        v[name "-size-disk"], v[name "-size-pressures"]
}

function rate(title, name) {
    printf "  %-34s %8.0f/s   p50 %8.3f ms   p99 %8.3f ms\n", title, v[name "-rate"], v[name "-p50"], v[name "-p99"]
}

function drawing(title, name) {
    printf "  %-34s %8.3f ms %8.2f %8.2f%s%s\n", title, v[name "-p50"], v["ratio-" name], v["ratio-" name "-least"],
        goal(name "-p50", v[name "-p50"] < 10, "< 10 ms"), most("ratio-" name, 3, " x plain")
}

function select(title, name) {
    printf "  %-34s %8.3f ms   %d rows, %d bytes; the fastest way %.3f ms\n", title, v[name "-select_ms"],
        v[name "-rows"], v[name "-bytes"], v[name "-least_ms"]
}

function latency(title, name) {
    printf "  %-34s p50 %8.2f ms   p99 %8.2f ms\n", title, v[name "-p50"], v[name "-p99"]
}

function document(name) {
    printf "  %-8s %7.1f ms, %.1f ns and %.1f bytes a sample; json_loadb alone / reading %.1f%s%s\n", name,
        v[name "_ms"], v[name "_ns_number"], v[name "_bytes_number"], v[name "_jansson_to_document"],
        most(name "_ns_number", 15, " ns"), most(name "_bytes_number", 10, " bytes")
}

END {
    print "\nUpload of 30 min x 8 channels x 100 Hz, ms; CPU: what the server had of the processors;"
    print "bare: an insert of the same rows, packed before, by libpq alone"
    printf "packed: the study as int16, packed as we do it and inserted by libpq and zstd alone, one thread: %.1f ms\n",
        v["pack_ms"]
    printf "plain: the same, by differences and zstd only into the simplest table: %.1f ms; the goals were set\n",
        v["plain_ms"]
    print "beside such an insert"
    printf "  %-22s %6s %8s %8s %8s %8s %8s %8s %7s %8s %8s\n", "", "MB", "total", "parse", "compute", "store", "CPU",
        "bare", "/ bare", "/ packed", "/ plain"
    form("JSON, base64 int16", "int16", 2.5, "")
    form("JSON, base64 float32", "float32")
    form("EDF", "edf")
    form("JSON, decimals", "decimals", 4, ", aim 2.5")
    form("CSV", "csv")
    form("pieces of 10 s, int16", "pieces")
    printf "  a piece: p50 %.2f ms, p99 %.2f ms; their completion %.1f ms, in the columns above\n",
        v["pieces-piece-p50"], v["pieces-piece-p99"], v["pieces-completion"]
    printf "  json_loadb of the decimals alone %.1f ms, / our parse %.1f%s\n", v["jansson"], v["ratio-jansson"],
        least("ratio-jansson", 8, "")
    if (v["peer"] > 0)
        printf "  the other server, decimals %.1f ms, its / ours %.1f%s\n", v["peer"], v["ratio-peer"],
            least("ratio-peer", 6, " for a peer in Python")

    print "\nStored bytes a sample (float32 as it is: 4)"
    printf "  %-22s %10s %10s %10s %10s\n", "", "samples", "+ overview", "on disk", "pressures"
    size("JSON, base64 int16", "int16")
    size("JSON, base64 float32", "float32")
    size("EDF", "edf")
    size("JSON, decimals", "decimals")
    size("CSV", "csv")
    printf "  smooth int16 pressures %.3f%s\n", v["int16-size-pressures"], most("int16-size-pressures", 0.6, "")

    printf "\nDrawing a recording of %d min x 8 channels x 100 Hz, 1 connection\n", v["drawn-min"]
    print "plain: a SELECT of the same rows by their primary key, prepared; fastest: of three ways to select them"
    print "                                           median  / plain  / fastest"
    printf "  stored in pieces of 10 min: %.0f ms, of which completion %.0f ms\n", v["long-total"], v["long-completion"]
    select("bare SELECT for the whole", "whole")
    drawing("whole, 1000 points, float32", "whole-binary")
    drawing("whole, 1000 points, JSON", "whole-json")
    select("bare SELECT for 10 s", "part")
    drawing("10 s, float32", "part-binary")
    drawing("10 s, JSON", "part-json")
    printf "  %-34s %8.3f ms\n", "HTTP alone: GET /healthz", v["health-1-p50"]
    printf "  %-34s %8.3f ms\n", "with sign-in: GET a patient", v["tiny-p50"]

    printf "\n%d rooms at once\n", v["rooms"]
    printf "  uploads of base64 int16            %8.2f/s   503s %d\n", v["rooms-uploads-s"], v["rooms-503"]
    latency("an upload", "rooms")
    latency("a live piece of 1 s", "live")
    latency("until a watcher has it", "watch")
    latency("GET summary, nothing else", "alone")
    latency("  while rooms upload", "busy")
    latency("  while rooms are live", "live-summary")
    printf "  p99 of the summary, live / nothing else %.1f; live 503s %d\n", v["ratio-live-summary"], v["live-503"]
    printf "  p99 of the summary, uploads / nothing else %.1f%s\n", v["ratio-busy"], most("ratio-busy", 5, "")
    printf "  resident memory: %d MiB idle, %d MiB peak; growth / (body x rooms) %.2f%s\n", v["idle-mib"],
        v["peak-mib"], v["rooms-body-ratio"], most("rooms-body-ratio", 3, "")

    print "\nReading"
    rate("GET /healthz, 1 connection", "health-1")
    rate("GET summary, 1 connection", "summary-1")
    rate("GET /healthz, 16 connections", "health-16")
    rate("GET summary, 16 connections", "summary-16")
    printf "  summary / healthz: %.2f with 1 connection, %.2f with 16\n", v["ratio-summary-1"], v["ratio-summary-16"]

    printf "\nAnalysis of 30 min x 8 x 100 Hz, one thread: %.1f ms, %.0f million samples/s\n", v["analysis_ms"],
        v["analysis_million_samples_s"]
    printf "  / plain sum %.2f (%.2f ms); memory / size of the samples %.2f\n", v["analysis_to_sum"], v["sum_ms"],
        v["memory_to_samples"]

    print "\nReading the document alone, 30 min x 8 x 100 Hz"
    document("numbers")
    document("base64")
    printf "  base64 decoding alone %.2f ns a character\n", v["base64_decode_ns_character"]

    printf "\nA report of two pages as a PDF, one thread: %.1f ms, %.0f kB%s%s\n", v["report_ms"],
        v["report_bytes"] / 1000, most("report_ms", 60, " ms"), most("report_bytes", 400000, " bytes")
    printf "  the first one %.1f ms; resident after 10: %.1f MiB, after 100: %.1f MiB\n", v["report_first_ms"],
        v["report_resident_10_kb"] / 1024, v["report_resident_100_kb"] / 1024
}
