/* replay FOLDER: gives every file of a folder to LLVMFuzzerTestOneInput(), so that what fuzzing has
 * found is checked in every build, also without libFuzzer. An empty folder checks nothing, and is a
 * failure. */
#include "promise.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { FILE_MAX = 1 << 20 };

static bool replay_file(const char *path)
{
    struct stat about;
    FILE *file = fopen(path, "rb");
    if (file == NULL || fstat(fileno(file), &about) != 0 || !S_ISREG(about.st_mode)) {
        if (file != NULL) {
            (void)fclose(file);
        }
        return false;
    }
    promise(about.st_size <= FILE_MAX, "a seed is small");
    size_t size = (size_t)about.st_size;
    uint8_t *bytes = malloc(size + 1);
    promise(bytes != NULL && fread(bytes, 1, size, file) == size, "the file can be read");
    (void)fclose(file);
    (void)printf("%s\n", path);
    (void)fflush(stdout); /* so that the last line tells which one broke a promise */
    (void)LLVMFuzzerTestOneInput(bytes, size);
    free(bytes);
    return true;
}

int main(int argc, char **argv)
{
    struct dirent **entries = NULL;
    int count = argc == 2 ? scandir(argv[1], &entries, NULL, alphasort) : -1;
    size_t replayed = 0;
    for (int i = 0; i < count; i++) {
        char path[4096];
        int length = snprintf(path, sizeof path, "%s/%s", argv[1], entries[i]->d_name);
        promise(length > 0 && (size_t)length < sizeof path, "the path is short");
        replayed += replay_file(path) ? 1 : 0;
        free(entries[i]);
    }
    free(entries);
    (void)printf("%zu inputs\n", replayed);
    return replayed > 0 ? 0 : 1;
}
