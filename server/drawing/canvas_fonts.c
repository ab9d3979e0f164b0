#include "drawing/canvas_private.h"

#include <dirent.h>
#include <fontconfig/fontconfig.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

static const char PACKAGE[] = "Debian: fonts-noto-core";

struct face {
    const char *name;
    int weight;
    int slant;
};

static const struct face faces[] = {
    {"Regular", FC_WEIGHT_REGULAR, FC_SLANT_ROMAN},
    {"Bold", FC_WEIGHT_BOLD, FC_SLANT_ROMAN},
    {"Italic", FC_WEIGHT_REGULAR, FC_SLANT_ITALIC},
    {"Bold Italic", FC_WEIGHT_BOLD, FC_SLANT_ITALIC},
};

static bool is_face(FcPattern *found, const struct face *face)
{
    FcChar8 *family = NULL;
    int weight = -1;
    int slant = -1;
    return FcPatternGetString(found, FC_FAMILY, 0, &family) == FcResultMatch &&
           FcPatternGetInteger(found, FC_WEIGHT, 0, &weight) == FcResultMatch &&
           FcPatternGetInteger(found, FC_SLANT, 0, &slant) == FcResultMatch &&
           strcmp((const char *)family, CANVAS_FAMILY) == 0 && weight == face->weight &&
           slant == face->slant;
}

/* Asks as pango does. Nobody ever refuses a font: what is nearest is taken, so look at that. */
static bool has_face(const struct face *face)
{
    FcPattern *wanted =
        FcPatternBuild(NULL, FC_FAMILY, FcTypeString, CANVAS_FAMILY, FC_WEIGHT, FcTypeInteger,
                       face->weight, FC_SLANT, FcTypeInteger, face->slant, (char *)NULL);
    FcConfigSubstitute(NULL, wanted, FcMatchPattern);
    FcDefaultSubstitute(wanted);
    FcResult result = FcResultNoMatch;
    FcPattern *found = FcFontMatch(NULL, wanted, &result);
    bool is_there = found != NULL && is_face(found, face);
    if (found != NULL) {
        FcPatternDestroy(found);
    }
    FcPatternDestroy(wanted);
    return is_there;
}

bool canvas_check_fonts(struct error *reterr)
{
    static atomic_bool are_there; // asked by every canvas, and looked for once
    if (atomic_load(&are_there)) {
        return true;
    }
    for (size_t i = 0; i < sizeof faces / sizeof faces[0]; i++) {
        if (!has_face(&faces[i])) {
            return error_set(reterr, ERROR_INTERNAL, "the font %s %s is not installed (%s)",
                             CANVAS_FAMILY, faces[i].name, PACKAGE);
        }
    }
    atomic_store(&are_there, true);
    return true;
}

/* Whether one of pango's threads still sorts fonts. Each font map has one that nobody can join; it
 * ends by itself once its map is gone. */
static bool is_sorting(void)
{
    bool is = false;
    DIR *tasks = opendir("/proc/self/task");
    if (tasks == NULL) {
        return false;
    }
    // NOLINTNEXTLINE(concurrency-mt-unsafe): nobody else reads this stream
    for (const struct dirent *task; !is && (task = readdir(tasks)) != NULL;) {
        char path[300];
        char name[32] = "";
        (void)snprintf(path, sizeof path, "/proc/self/task/%s/comm", task->d_name);
        FILE *file = fopen(path, "re");
        if (file != NULL) {
            is = fgets(name, sizeof name, file) != NULL && strstr(name, "fontcfg") != NULL;
            (void)fclose(file);
        }
    }
    (void)closedir(tasks);
    return is;
}

void canvas_forget_fonts(void)
{
    static const struct timespec pause = {.tv_nsec = 2000000};

    enum { PAUSES_MOST = 500 };

    pango_cairo_font_map_set_default(NULL);
    for (int i = 0; i < PAUSES_MOST && is_sorting(); i++) {
        (void)nanosleep(&pause, NULL);
    }
    cairo_debug_reset_static_data();
    (void)FcConfigSetCurrent(NULL); // FcFini() would end the process if anybody still held a part
}
