#include "scene.h"

#include <math.h>
#include <stdlib.h>

static const double PI = 3.141592653589793;

static double **tracks(struct scene *scene, size_t index)
{
    double **all[] = {&scene->pdet,    &scene->pabd,    &scene->pves_only, &scene->pabd_only,
                      &scene->outflow, &scene->infused, &scene->bladder,   &scene->sphincter,
                      &scene->knock,   &scene->emg};
    return index < sizeof all / sizeof all[0] ? all[index] : NULL;
}

struct scene *scene_new(uint64_t seed, uint64_t stream)
{
    struct scene *scene = calloc(1, sizeof *scene);
    if (scene == NULL) {
        return NULL;
    }
    rng_seed(&scene->rng, seed, stream);
    for (size_t i = 0; tracks(scene, i) != NULL; i++) {
        double *track = calloc(SCENE_SAMPLES_MAX, sizeof *track);
        if (track == NULL) {
            scene_free(scene);
            return NULL;
        }
        *tracks(scene, i) = track;
    }
    for (size_t i = 0; i < SCENE_SAMPLES_MAX; i++) {
        scene->emg[i] = 1.0;
    }
    return scene;
}

void scene_free(struct scene *scene)
{
    if (scene == NULL) {
        return;
    }
    for (size_t i = 0; tracks(scene, i) != NULL; i++) {
        free(*tracks(scene, i));
    }
    for (size_t i = 0; i < scene->line_count; i++) {
        free(scene->lines[i].track);
    }
    free(scene);
}

double *scene_add_line(struct scene *scene, struct scene_line line)
{
    line.track =
        scene->line_count < SCENE_LINES_MAX ? calloc(SCENE_SAMPLES_MAX, sizeof *line.track) : NULL;
    if (line.track != NULL) {
        scene->lines[scene->line_count++] = line;
    }
    return line.track;
}

size_t scene_index(double at_s)
{
    double index = round(at_s * SCENE_RATE_HZ);
    return (size_t)fmin(fmax(index, 0.0), SCENE_SAMPLES_MAX - 1.0);
}

void scene_mark(struct scene *scene, double at_s, double late_least, double late_most,
                const char *code, const char *note)
{
    double late_s = rng_between(&scene->rng, late_least, late_most);
    if (scene->marker_count < SCENE_MARKERS_MAX) {
        scene->markers[scene->marker_count++] = (struct scene_marker){
            .at_s = round((at_s + late_s) * 10.0) / 10.0, .code = code, .note = note};
    }
}

void scene_mark_value(struct scene *scene, double at_s, const char *code, double value)
{
    if (scene->marker_count < SCENE_MARKERS_MAX) {
        scene->markers[scene->marker_count++] =
            (struct scene_marker){.at_s = round(at_s * 10.0) / 10.0,
                                  .code = code,
                                  .note = "",
                                  .valued = true,
                                  .value = value};
    }
}

void scene_sort_markers(struct scene *scene)
{
    for (size_t i = 1; i < scene->marker_count; i++) {
        struct scene_marker marker = scene->markers[i];
        size_t place = i;
        while (place > 0 && scene->markers[place - 1].at_s > marker.at_s) {
            scene->markers[place] = scene->markers[place - 1];
            place--;
        }
        scene->markers[place] = marker;
    }
}

void scene_keep_free(struct scene *scene, double from_s, double to_s)
{
    if (scene->busy_count < SCENE_NOTES_MAX) {
        scene->busy[scene->busy_count++] = (struct scene_span){from_s, to_s};
    }
}

bool scene_is_free(const struct scene *scene, double from_s, double to_s)
{
    for (size_t i = 0; i < scene->busy_count; i++) {
        if (from_s < scene->busy[i].to_s && to_s > scene->busy[i].from_s) {
            return false;
        }
    }
    return true;
}

void scene_add_hump(double *track, double from_s, double rise_s, double fall_s, double size)
{
    size_t end = scene_index(from_s + rise_s + fall_s);
    for (size_t i = scene_index(from_s); i <= end; i++) {
        double since_s = (double)i * SCENE_STEP_S - from_s;
        double part = since_s < rise_s ? since_s / rise_s : 1.0 - (since_s - rise_s) / fall_s;
        track[i] += size * 0.5 * (1.0 - cos(PI * fmin(fmax(part, 0.0), 1.0)));
    }
}

void scene_note_artefact(struct scene *scene, const char *kind, const char *signal, double from_s,
                         double to_s)
{
    struct scene_truth *truth = &scene->truth;
    if (truth->artefact_count < SCENE_NOTES_MAX) {
        truth->artefacts[truth->artefact_count++] =
            (struct scene_artefact){kind, signal, from_s, to_s};
    }
}
