#include "figure/figure_style.h"

#include <string.h>

#define RGB(red, green, blue)                                                                      \
    {                                                                                              \
        (red) / 255.0, (green) / 255.0, (blue) / 255.0                                             \
    }

static const struct canvas_colour colours[] = {
    [STYLE_INK] = RGB(0x14, 0x21, 0x1f),   [STYLE_INK_SOFT] = RGB(0x46, 0x56, 0x53),
    [STYLE_RULE] = RGB(0x71, 0x82, 0x7e),  [STYLE_GRID] = RGB(0xd9, 0xe2, 0xdf),
    [STYLE_BAND] = RGB(0xe9, 0xef, 0xed),  [STYLE_EVENT] = RGB(0x5b, 0x4a, 0x8a),
    [STYLE_PAPER] = RGB(0xff, 0xff, 0xff),
};

struct signal_style {
    int rank; /* from 1; 0: after all others */
    struct canvas_colour colour;
};

#define ANAL_STYLE                                                                                 \
    {                                                                                              \
        11, RGB(0x00, 0x61, 0xa3)                                                                  \
    }

static const struct signal_style signals[SIGNAL_COUNT] = {
    [SIGNAL_PABD] = {1, RGB(0xb3, 0x47, 0x00)},
    [SIGNAL_PVES] = {2, RGB(0x00, 0x61, 0xa3)},
    [SIGNAL_PDET] = {3, RGB(0x14, 0x21, 0x1f)},
    [SIGNAL_FLOW] = {4, RGB(0x00, 0x73, 0x5a)},
    [SIGNAL_VVOID] = {5, RGB(0x7d, 0x5a, 0x00)},
    [SIGNAL_VINF] = {6, RGB(0x2b, 0x6e, 0x94)},
    [SIGNAL_EMG] = {7, RGB(0x96, 0x38, 0x6f)},
    [SIGNAL_PURA] = {8, RGB(0x00, 0x61, 0xa3)},
    [SIGNAL_PVAG] = {9, RGB(0x7d, 0x5a, 0x00)},
    [SIGNAL_PRECT] = {10, RGB(0xb3, 0x47, 0x00)},
    [SIGNAL_PANAL] = ANAL_STYLE,
    [SIGNAL_PANAL1] = ANAL_STYLE,
    [SIGNAL_PANAL2] = ANAL_STYLE,
    [SIGNAL_PANAL3] = ANAL_STYLE,
    [SIGNAL_PANAL4] = ANAL_STYLE,
    [SIGNAL_PANAL5] = ANAL_STYLE,
    [SIGNAL_PANAL6] = ANAL_STYLE,
    [SIGNAL_PANAL7] = ANAL_STYLE,
    [SIGNAL_PANAL8] = ANAL_STYLE,
    [SIGNAL_PANAL9] = ANAL_STYLE,
    [SIGNAL_PANAL10] = ANAL_STYLE,
    [SIGNAL_PANAL11] = ANAL_STYLE,
    [SIGNAL_PANAL12] = ANAL_STYLE,
    [SIGNAL_BALLOON] = {12, RGB(0x00, 0x73, 0x5a)},
    [SIGNAL_PULLER] = {13, RGB(0x46, 0x56, 0x53)},
};

struct unit_style {
    const char *unit;
    bool shares_scale;
    double least_top;
    double step;
};

static const struct unit_style units[] = {
    {"cm[H2O]", true, 40.0, 1.0}, {"mm[Hg]", true, 40.0, 1.0}, {"mL/s", false, 15.0, 0.1},
    {"mL", false, 100.0, 1.0},    {"uV", false, 0.0, 1.0},     {"mm", false, 0.0, 1.0},
};

struct canvas_colour style_colour(enum style_colour which)
{
    return colours[which];
}

struct canvas_colour style_signal_colour(enum signal_kind signal)
{
    return signals[signal].rank > 0 ? signals[signal].colour : colours[STYLE_INK_SOFT];
}

struct canvas_style style_text(enum style_colour colour, double size_pt, bool bold)
{
    return (struct canvas_style){.size_pt = size_pt, .bold = bold, .colour = colours[colour]};
}

struct canvas_pen style_pen(enum style_colour colour, double width_pt)
{
    return (struct canvas_pen){.colour = colours[colour], .width_pt = width_pt};
}

struct canvas_pen style_dashed_pen(enum style_colour colour, double width_pt, double dash_pt)
{
    return (struct canvas_pen){.colour = colours[colour], .width_pt = width_pt, .dash_pt = dash_pt};
}

int style_rank(enum signal_kind signal)
{
    const int rank = signals[signal].rank;
    return (rank > 0 ? rank : SIGNAL_COUNT) * SIGNAL_COUNT + (int)signal;
}

static const struct unit_style *find_unit(const char *unit)
{
    static const struct unit_style other = {NULL, false, 0.0, 0.1};
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (strcmp(units[i].unit, unit) == 0) {
            return &units[i];
        }
    }
    return &other;
}

bool style_shares_scale(const char *unit)
{
    return find_unit(unit)->shares_scale;
}

double style_least_top(const char *unit)
{
    return find_unit(unit)->least_top;
}

double style_unit_step(const char *unit)
{
    return find_unit(unit)->step;
}
