#include "drawing/canvas_private.h"

#include "base/utf8.h"

#include <pango/pangofc-font.h>
#include <string.h>

/* Everything is set in the first family; the second lends it characters that it lacks, and after
 * that whatever else is installed. */
static const char FAMILIES[] = CANVAS_FAMILY ", DejaVu Sans";

/* Figures of one width, so that columns of numbers stand under each other. No ligatures: every
 * letter stays one that can be searched for. */
static const char FEATURES[] = "tnum=1, liga=0, clig=0";

/* Layouts are kept, since most texts are measured before they are drawn; this many at most. */
enum { LAYOUTS_MAX = 4096 };

/* ---- setting ---- */

/* Sizes in pixels of the surface's own unit, which is the point; nothing is rounded to a grid, so
 * that all forms lay out alike. The language is ours, not that of the process's locale. */
static PangoContext *new_context(PangoFontMap *map)
{
    PangoContext *context = pango_font_map_create_context(map);
    pango_cairo_context_set_resolution(context, 72.0);
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
    pango_cairo_context_set_font_options(context, options);
    cairo_font_options_destroy(options);
    pango_context_set_round_glyph_positions(context, FALSE);
    pango_context_set_base_dir(context, PANGO_DIRECTION_LTR);
    pango_context_set_language(context, pango_language_from_string("en"));
    return context;
}

static PangoFontDescription *new_description(double size_pt, bool bold, bool italic)
{
    PangoFontDescription *description = pango_font_description_new();
    pango_font_description_set_family_static(description, FAMILIES);
    pango_font_description_set_absolute_size(description, size_pt * PANGO_SCALE);
    pango_font_description_set_weight(description, bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_style(description, italic ? PANGO_STYLE_ITALIC : PANGO_STYLE_NORMAL);
    return description;
}

static bool begin_text(struct canvas *canvas)
{
    struct error error = {0};
    if (canvas->context == NULL && canvas_is_well(canvas) && !canvas_check_fonts(&error)) {
        canvas_fail(canvas, error.kind, error.detail);
    }
    if (canvas->context == NULL && canvas_is_well(canvas)) {
        canvas->context = new_context(pango_cairo_font_map_get_default()); // the thread's own
        canvas->layouts = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_object_unref);
    }
    return canvas_is_well(canvas);
}

void canvas_text_free(struct canvas *canvas)
{
    if (canvas->context != NULL) {
        g_hash_table_destroy(canvas->layouts);
        g_object_unref(canvas->context);
    }
}

/* ---- words ---- */

enum {
    LINE_SEPARATOR = 0x2028,
    PARAGRAPH_SEPARATOR = 0x2029,
    FIRST_STRONG_ISOLATE = 0x2068,
    POP_ISOLATE = 0x2069,
    REPLACEMENT = 0xFFFD
};

/* Explicit embeddings, overrides and isolates (Unicode UAX 9, 2). */
static bool turns_direction(gunichar character)
{
    return (character >= 0x202A && character <= 0x202E) ||
           (character >= 0x2066 && character <= 0x2069);
}

static gunichar drawn_as(gunichar character, gunichar line_feed, bool from_person)
{
    if (character == '\n') {
        return line_feed;
    }
    if (character == LINE_SEPARATOR || character == PARAGRAPH_SEPARATOR || character == '\t' ||
        g_unichar_type(character) == G_UNICODE_CONTROL) {
        return ' ';
    }
    return from_person && turns_direction(character) ? 0 : character;
}

static void append_words(GString *out, const char *words, gunichar line_feed, bool from_person)
{
    size_t length = strlen(words);
    for (size_t at = 0; at < length;) {
        size_t size = utf8_sequence(words + at, length - at);
        gunichar character = size == 0 ? REPLACEMENT : g_utf8_get_char(words + at);
        character = drawn_as(character, line_feed, from_person);
        if (character != 0) {
            g_string_append_unichar(out, character);
        }
        at += size == 0 ? 1 : size;
    }
}

/* Lines within one paragraph, where only so many are wanted: pango counts by the paragraph. */
static gunichar line_feed_for(const struct canvas_text *text)
{
    if (text->lines_most == 1 || text->width_pt <= 0.0) {
        return ' ';
    }
    return text->lines_most > 0 ? LINE_SEPARATOR : '\n';
}

static void append_run(GString *out, const struct canvas_run *run, gunichar line_feed)
{
    if (run->from_person) {
        g_string_append_unichar(out, FIRST_STRONG_ISOLATE);
    }
    append_words(out, run->words, line_feed, run->from_person);
    if (run->from_person) {
        g_string_append_unichar(out, POP_ISOLATE);
    }
}

static void add_attribute(PangoAttrList *attributes, PangoAttribute *attribute, size_t from,
                          size_t to)
{
    attribute->start_index = (guint)from;
    attribute->end_index = (guint)to;
    pango_attr_list_insert(attributes, attribute);
}

/* ---- layouts ---- */

static PangoAlignment alignment(enum canvas_align align)
{
    switch (align) {
    case CANVAS_CENTRE:
        return PANGO_ALIGN_CENTER;
    case CANVAS_END:
        return PANGO_ALIGN_RIGHT;
    case CANVAS_START:
        break;
    }
    return PANGO_ALIGN_LEFT;
}

static void set_words(PangoLayout *layout, const struct canvas_text *text)
{
    GString *words = g_string_new(NULL);
    PangoAttrList *attributes = pango_attr_list_new();
    for (size_t i = 0; i < text->run_count; i++) {
        const struct canvas_run *run = &text->runs[i];
        size_t from = words->len;
        append_run(words, run, line_feed_for(text));
        if (run->bold && !text->style.bold) {
            add_attribute(attributes, pango_attr_weight_new(PANGO_WEIGHT_BOLD), from, words->len);
        }
        if (run->italic && !text->style.italic) {
            add_attribute(attributes, pango_attr_style_new(PANGO_STYLE_ITALIC), from, words->len);
        }
    }
    pango_attr_list_insert(attributes, pango_attr_font_features_new(FEATURES));
    pango_attr_list_insert(attributes, pango_attr_insert_hyphens_new(FALSE));
    pango_layout_set_text(layout, words->str, (int)words->len);
    pango_layout_set_attributes(layout, attributes);
    pango_attr_list_unref(attributes);
    g_string_free(words, TRUE);
}

static PangoLayout *new_layout(struct canvas *canvas, const struct canvas_text *text)
{
    PangoLayout *layout = pango_layout_new(canvas->context);
    PangoFontDescription *description =
        new_description(text->style.size_pt, text->style.bold, text->style.italic);
    pango_layout_set_font_description(layout, description);
    pango_font_description_free(description);
    pango_layout_set_auto_dir(layout, FALSE);
    set_words(layout, text);
    if (text->width_pt > 0.0) {
        pango_layout_set_width(layout, (int)(text->width_pt * PANGO_SCALE));
        pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
        pango_layout_set_alignment(layout, alignment(text->align));
        if (text->lines_most > 0) {
            pango_layout_set_height(layout, -text->lines_most);
            pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
        }
    }
    if (text->leading > 0.0) {
        pango_layout_set_line_spacing(layout, (float)text->leading);
    }
    return layout;
}

/* What a layout depends on, as text: words, then style. Separators cannot stand in words. */
static char *layout_key(const struct canvas_text *text)
{
    GString *key = g_string_new(NULL);
    g_string_append_printf(key, "%.3f %d %d %d %.3f %d %.3f", text->style.size_pt, text->style.bold,
                           text->style.italic, (int)text->align, text->width_pt, text->lines_most,
                           text->leading);
    for (size_t i = 0; i < text->run_count; i++) {
        const struct canvas_run *run = &text->runs[i];
        g_string_append_printf(key, "\x1f%zu %d%d%d ", strlen(run->words), run->bold, run->italic,
                               run->from_person);
        g_string_append(key, run->words);
    }
    return g_string_free(key, FALSE);
}

/* The canvas's own reference. */
static PangoLayout *layout_of(struct canvas *canvas, const struct canvas_text *text)
{
    char *key = layout_key(text);
    PangoLayout *layout = g_hash_table_lookup(canvas->layouts, key);
    if (layout != NULL) {
        g_free(key);
        return layout;
    }
    if (g_hash_table_size(canvas->layouts) >= LAYOUTS_MAX) {
        g_hash_table_remove_all(canvas->layouts);
    }
    layout = new_layout(canvas, text);
    g_hash_table_insert(canvas->layouts, key, layout);
    return layout;
}

static double points(int pango_units)
{
    return (double)pango_units / PANGO_SCALE;
}

static struct canvas_size size_of(PangoLayout *layout)
{
    PangoRectangle logical;
    pango_layout_get_extents(layout, NULL, &logical);
    return (struct canvas_size){points(logical.width), points(logical.height),
                                points(pango_layout_get_baseline(layout))};
}

/* ---- glyphs ---- */

/* A run of glyphs in one font, as cairo takes it: with the text it stands for, in clusters. */
struct glyph_run {
    cairo_glyph_t *glyphs;
    int glyph_count;
    cairo_text_cluster_t *clusters;
    int cluster_count;
    GString *words;
};

static int count_glyphs(const PangoGlyphString *string, int from, int to)
{
    int count = 0;
    for (int i = from; i < to; i++) {
        count += string->glyphs[i].glyph != PANGO_GLYPH_EMPTY;
    }
    return count;
}

static bool lacks_characters(const PangoGlyphString *string)
{
    for (int i = 0; i < string->num_glyphs; i++) {
        if ((string->glyphs[i].glyph & PANGO_GLYPH_UNKNOWN_FLAG) != 0 &&
            string->glyphs[i].glyph != PANGO_GLYPH_EMPTY) {
            return true;
        }
    }
    return false;
}

/* Spaces at the end of a line are given no glyph; words of two lines would run into each other for
 * whoever reads the text out of a PDF. */
static void give_spaces_glyphs(PangoGlyphItem *item, const char *text)
{
    const char *words = text + item->item->offset;
    for (int i = 0; i < item->glyphs->num_glyphs; i++) {
        PangoGlyphInfo *info = &item->glyphs->glyphs[i];
        if (info->glyph == PANGO_GLYPH_EMPTY && words[item->glyphs->log_clusters[i]] == ' ') {
            info->glyph = pango_fc_font_get_glyph((PangoFcFont *)item->item->analysis.font, ' ');
        }
    }
}

static void place_glyphs(struct glyph_run *run, const PangoGlyphString *string,
                         struct canvas_point at)
{
    for (int i = 0; i < string->num_glyphs; i++) {
        const PangoGlyphInfo *info = &string->glyphs[i];
        if (info->glyph != PANGO_GLYPH_EMPTY) {
            run->glyphs[run->glyph_count++] =
                (cairo_glyph_t){info->glyph, at.x + points(info->geometry.x_offset),
                                at.y + points(info->geometry.y_offset)};
        }
        at.x += points(info->geometry.width);
    }
}

/* Isolates steer the order and are no text: who copies from a PDF shall not get them. */
static int append_cluster_words(GString *out, const char *from, const char *to)
{
    gsize before = out->len;
    while (from < to) {
        gunichar character = g_utf8_get_char(from);
        if (!turns_direction(character)) {
            g_string_append_unichar(out, character);
        }
        from += g_unichar_to_utf8(character, NULL);
    }
    return (int)(out->len - before);
}

/* Clusters are in the text's order, glyphs in that of the eye. */
static void find_clusters(struct glyph_run *run, PangoGlyphItem *item, const char *text)
{
    PangoGlyphItemIter iter;
    bool more = pango_glyph_item_iter_init_start(&iter, item, text);
    for (; more; more = pango_glyph_item_iter_next_cluster(&iter)) {
        bool backward = iter.start_glyph > iter.end_glyph;
        int glyphs = backward ? count_glyphs(item->glyphs, iter.end_glyph + 1, iter.start_glyph + 1)
                              : count_glyphs(item->glyphs, iter.start_glyph, iter.end_glyph);
        int bytes =
            append_cluster_words(run->words, text + iter.start_index, text + iter.end_index);
        if (glyphs > 0 || bytes > 0) {
            run->clusters[run->cluster_count++] = (cairo_text_cluster_t){bytes, glyphs};
        }
    }
}

/* The item behind an ellipsis stands for all that was cut off. */
static void make_ellipsis(struct glyph_run *run)
{
    g_string_append(run->words, "\u2026");
    run->clusters[run->cluster_count++] =
        (cairo_text_cluster_t){(int)run->words->len, run->glyph_count};
}

static void show_run(struct canvas *canvas, PangoGlyphItem *item, const char *text,
                     struct canvas_point at)
{
    int most = item->glyphs->num_glyphs + item->item->num_chars + 1;
    struct glyph_run run = {.glyphs = cairo_glyph_allocate(most),
                            .clusters = cairo_text_cluster_allocate(most),
                            .words = g_string_new(NULL)};
    bool is_ellipsis = (item->item->analysis.flags & PANGO_ANALYSIS_FLAG_IS_ELLIPSIS) != 0;
    give_spaces_glyphs(item, text);
    place_glyphs(&run, item->glyphs, at);
    if (is_ellipsis) {
        make_ellipsis(&run);
    } else {
        find_clusters(&run, item, text);
    }
    if (run.glyph_count > 0) {
        bool backward = !is_ellipsis && (item->item->analysis.level & 1) != 0;
        cairo_set_scaled_font(canvas->cairo, pango_cairo_font_get_scaled_font(
                                                 (PangoCairoFont *)item->item->analysis.font));
        cairo_show_text_glyphs(canvas->cairo, run.words->str, (int)run.words->len, run.glyphs,
                               run.glyph_count, run.clusters, run.cluster_count,
                               backward ? CAIRO_TEXT_CLUSTER_FLAG_BACKWARD : 0);
    }
    cairo_glyph_free(run.glyphs);
    cairo_text_cluster_free(run.clusters);
    g_string_free(run.words, TRUE);
}

struct placed_run {
    PangoGlyphItem *item;
    struct canvas_point at;
};

static int compare_runs(const void *left, const void *right)
{
    int a = ((const struct placed_run *)left)->item->item->offset;
    int b = ((const struct placed_run *)right)->item->item->offset;
    return (a > b) - (a < b);
}

static void show_placed(struct canvas *canvas, const struct placed_run *run, const char *text)
{
    if (lacks_characters(run->item->glyphs)) {
        cairo_move_to(canvas->cairo, run->at.x, run->at.y);
        pango_cairo_show_glyph_item(canvas->cairo, text, run->item);
    } else {
        show_run(canvas, run->item, text, run->at);
    }
}

/* `at` is the layout's upper left corner. Runs are drawn in the order in which they are read, which
 * is that of a PDF for those who have it read out or copy from it. */
static void show_line(struct canvas *canvas, PangoLayoutIter *iter, struct canvas_point at)
{
    const PangoLayoutLine *line = pango_layout_iter_get_line_readonly(iter);
    PangoRectangle logical;
    pango_layout_iter_get_line_extents(iter, NULL, &logical);
    at.x += points(logical.x);
    at.y += points(pango_layout_iter_get_baseline(iter));
    GArray *runs = g_array_new(FALSE, FALSE, sizeof(struct placed_run));
    for (GSList *link = line->runs; link != NULL; link = link->next) {
        struct placed_run run = {.item = link->data, .at = at};
        g_array_append_val(runs, run);
        at.x += points(pango_glyph_string_get_width(run.item->glyphs));
    }
    g_array_sort(runs, compare_runs);
    for (guint i = 0; i < runs->len; i++) {
        show_placed(canvas, &g_array_index(runs, struct placed_run, i),
                    pango_layout_get_text(line->layout));
    }
    g_array_free(runs, TRUE);
}

static void show_layout(struct canvas *canvas, PangoLayout *layout, struct canvas_point at)
{
    PangoLayoutIter *iter = pango_layout_get_iter(layout);
    do {
        show_line(canvas, iter, at);
    } while (pango_layout_iter_next_line(iter));
    pango_layout_iter_free(iter);
}

/* ---- what the header offers ---- */

struct canvas_size canvas_text_size(struct canvas *canvas, const struct canvas_text *text)
{
    if (!begin_text(canvas)) {
        return (struct canvas_size){0.0, 0.0, 0.0};
    }
    return size_of(layout_of(canvas, text));
}

/* How far left of its point a text begins that has no width of its own. */
static double aligned_by(const struct canvas_text *text, double width)
{
    if (text->width_pt > 0.0 || text->align == CANVAS_START) {
        return 0.0;
    }
    return text->align == CANVAS_CENTRE ? width / 2.0 : width;
}

struct canvas_size canvas_draw_text(struct canvas *canvas, struct canvas_point at,
                                    const struct canvas_text *text)
{
    if (!begin_text(canvas)) {
        return (struct canvas_size){0.0, 0.0, 0.0};
    }
    PangoLayout *layout = layout_of(canvas, text);
    struct canvas_size size = size_of(layout);
    canvas_set_colour(canvas, text->style.colour);
    at.x -= aligned_by(text, size.width);
    show_layout(canvas, layout, at);
    return size;
}

static void line_range(PangoLayoutIter *iter, double *ret_top, double *ret_bottom)
{
    int top = 0;
    int bottom = 0;
    pango_layout_iter_get_line_yrange(iter, &top, &bottom);
    *ret_top = points(top);
    *ret_bottom = points(bottom);
}

/* Moves to the line of that number; false when there are fewer. */
static bool seek_line(PangoLayoutIter *iter, size_t number)
{
    for (size_t i = 0; i < number; i++) {
        if (!pango_layout_iter_next_line(iter)) {
            return false;
        }
    }
    return true;
}

bool canvas_draw_lines(struct canvas *canvas, struct canvas_point at,
                       const struct canvas_text *text, size_t first, double height_pt,
                       bool measure_only, size_t *ret_next, double *ret_taken_pt)
{
    *ret_next = first;
    *ret_taken_pt = 0.0;
    if (!begin_text(canvas)) {
        return false;
    }
    bool left = false;
    PangoLayoutIter *iter = pango_layout_get_iter(layout_of(canvas, text));
    if (seek_line(iter, first)) {
        double top = 0.0;
        double bottom = 0.0;
        line_range(iter, &top, &bottom);
        const double start = top;
        canvas_set_colour(canvas, text->style.colour);
        do {
            line_range(iter, &top, &bottom);
            left = *ret_next > first && bottom - start > height_pt;
            if (left) {
                break;
            }
            if (!measure_only) {
                show_line(canvas, iter, (struct canvas_point){at.x, at.y - start});
            }
            *ret_taken_pt = bottom - start;
            ++*ret_next;
        } while (pango_layout_iter_next_line(iter));
    }
    pango_layout_iter_free(iter);
    return left;
}

struct canvas_size canvas_label(struct canvas *canvas, struct canvas_point at, const char *words,
                                const struct canvas_style *style, enum canvas_align align,
                                double angle_degrees)
{
    struct canvas_run run = {.words = words};
    struct canvas_text text = {.runs = &run, .run_count = 1, .style = *style, .align = align};
    cairo_save(canvas->cairo);
    cairo_translate(canvas->cairo, at.x, at.y);
    cairo_rotate(canvas->cairo, -angle_degrees * G_PI / 180.0);
    struct canvas_size size = canvas_draw_text(canvas, (struct canvas_point){0.0, 0.0}, &text);
    cairo_restore(canvas->cairo);
    return size;
}
