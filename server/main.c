#include "app.h"

#include "api/routes.h"
#include "auth/access.h"
#include "auth/password.h"
#include "formats/json_reader.h"
#include "parameters.h"

#include <stdio.h>
#include <string.h>

enum { ACCESS_PAGE_LIMIT = 64 * 1024 };

static int print_usage(void)
{
    printf("penstock-server %s: keeps and computes urodynamic studies over HTTP\n\n"
           "  penstock-server serve\n"
           "  penstock-server migrate\n"
           "  penstock-server clinic add NAME\n"
           "  penstock-server administrator first CLINIC_ID USERNAME     (password on stdin)\n"
           "  penstock-server administrator recover CLINIC_ID USERNAME   (password on stdin)\n"
           "  penstock-server recompute [--clinic ID] [--dry-run]\n"
           "  penstock-server retention [--clinic ID] [--dry-run]\n"
           "  penstock-server erase [--clinic ID] [--dry-run | --list]\n"
           "  penstock-server erase --again FILE --restored\n"
           "  penstock-server verify [--clinic ID] [--checksums FILE] [--snapshot NAME]\n"
           "  penstock-server audit verify [--clinic ID] [--heads FILE] [--snapshot NAME]\n"
           "  penstock-server service-file\n"
           "  penstock-server routes\n"
           "  penstock-server access\n"
           "  penstock-server parameters\n"
           "  penstock-server version\n\n"
           "Settings come from the environment:\n",
           PENSTOCK_VERSION);
    config_print_help();
    return 2;
}

static bool is_command(int argc, char **argv, int count, const char *first, const char *second)
{
    return argc == count && strcmp(argv[1], first) == 0 &&
           (second == NULL || strcmp(argv[2], second) == 0);
}

/* An option that an administrative command takes. */
struct option {
    const char *name;
    const char **value; /* or NULL: it has none */
    bool *given;        /* or NULL */
};

/* first: the argument that may be the first option */
static bool read_options(int argc, char **argv, int first, const struct option *options,
                         size_t count)
{
    for (int i = first; i < argc; i++) {
        const struct option *found = NULL;
        for (size_t o = 0; o < count; o++) {
            found = strcmp(argv[i], options[o].name) == 0 ? &options[o] : found;
        }
        if (found == NULL || (found->value != NULL && i + 1 == argc)) {
            return false;
        }
        if (found->value != NULL) {
            *found->value = argv[++i];
        }
        if (found->given != NULL) {
            *found->given = true;
        }
    }
    return true;
}

static int run_on_clinics(const struct config *config, int argc, char **argv,
                          int (*command)(const struct config *config, const char *clinic_id,
                                         bool dry_run))
{
    const char *clinic_id = NULL;
    bool dry_run = false;
    const struct option options[] = {{"--clinic", &clinic_id, NULL}, {"--dry-run", NULL, &dry_run}};
    return read_options(argc, argv, 2, options, 2) ? command(config, clinic_id, dry_run)
                                                   : print_usage();
}

static int run_erase(const struct config *config, int argc, char **argv)
{
    const char *clinic_id = NULL;
    const char *file = NULL;
    bool dry_run = false;
    bool list = false;
    bool restored =
        false; /* whoever erases without a request says in so many words why that may be */
    const struct option options[] = {{"--clinic", &clinic_id, NULL},
                                     {"--again", &file, NULL},
                                     {"--restored", NULL, &restored},
                                     {"--dry-run", NULL, &dry_run},
                                     {"--list", NULL, &list}};
    if (!read_options(argc, argv, 2, options, 5) || (list && dry_run) ||
        restored != (file != NULL) || (file != NULL && (clinic_id != NULL || dry_run || list))) {
        return print_usage();
    }
    if (file != NULL) {
        return app_erase_again(config, file);
    }
    return list ? app_erase_list(config, clinic_id) : app_erase(config, clinic_id, dry_run);
}

static int run_verify(const struct config *config, int argc, char **argv)
{
    const char *clinic_id = NULL;
    const char *file = NULL;
    const char *snapshot = NULL;
    const struct option options[] = {{"--clinic", &clinic_id, NULL},
                                     {"--checksums", &file, NULL},
                                     {"--snapshot", &snapshot, NULL}};
    return read_options(argc, argv, 2, options, 3) ? app_verify(config, clinic_id, file, snapshot)
                                                   : print_usage();
}

static int run_audit(const struct config *config, int argc, char **argv)
{
    const char *clinic_id = NULL;
    const char *heads = NULL;
    const char *snapshot = NULL;
    const struct option options[] = {
        {"--clinic", &clinic_id, NULL}, {"--heads", &heads, NULL}, {"--snapshot", &snapshot, NULL}};
    return argc >= 3 && strcmp(argv[2], "verify") == 0 && read_options(argc, argv, 3, options, 3)
               ? app_audit_verify(config, clinic_id, heads, snapshot)
               : print_usage();
}

static int run_with_config(int argc, char **argv)
{
    struct config config;
    struct error error = {0};
    if (!config_read(&config, &error)) {
        (void)fprintf(stderr, "penstock-server: %s\n", error.detail);
        return 2;
    }
    if (is_command(argc, argv, 2, "serve", NULL)) {
        return app_serve(&config);
    }
    if (is_command(argc, argv, 2, "migrate", NULL)) {
        return app_migrate(&config);
    }
    if (is_command(argc, argv, 4, "clinic", "add")) {
        return app_clinic_add(&config, argv[3]);
    }
    if (is_command(argc, argv, 5, "administrator", "first")) {
        return app_administrator_first(&config, argv[3], argv[4]);
    }
    if (is_command(argc, argv, 5, "administrator", "recover")) {
        return app_administrator_recover(&config, argv[3], argv[4]);
    }
    if (strcmp(argv[1], "recompute") == 0) {
        return run_on_clinics(&config, argc, argv, app_recompute);
    }
    if (strcmp(argv[1], "retention") == 0) {
        return run_on_clinics(&config, argc, argv, app_retention);
    }
    if (strcmp(argv[1], "erase") == 0) {
        return run_erase(&config, argc, argv);
    }
    if (strcmp(argv[1], "verify") == 0) {
        return run_verify(&config, argc, argv);
    }
    if (strcmp(argv[1], "audit") == 0) {
        return run_audit(&config, argc, argv);
    }
    if (is_command(argc, argv, 2, "service-file", NULL)) {
        return app_service_file(&config);
    }
    return print_usage();
}

static void print_access(void)
{
    struct arena *arena = arena_new();
    struct text page;
    text_init(&page, arena, ACCESS_PAGE_LIMIT);
    access_append_page(&page);
    (void)fputs(page.data, stdout);
    arena_free(arena);
}

int main(int argc, char **argv)
{
    if (!password_library_start()) {
        (void)fprintf(stderr, "penstock-server: libsodium cannot be used on this machine\n");
        return 1;
    }
    json_reader_library_start();
    if (argc >= 2 && is_command(argc, argv, 2, "version", NULL)) {
        printf("penstock-server %s\n", PENSTOCK_VERSION);
        return 0;
    }
    if (argc >= 2 && is_command(argc, argv, 2, "routes", NULL)) {
        routes_print();
        return 0;
    }
    if (argc >= 2 && is_command(argc, argv, 2, "access", NULL)) {
        print_access();
        return 0;
    }
    if (argc >= 2 && is_command(argc, argv, 2, "parameters", NULL)) {
        parameters_print();
        return 0;
    }
    return argc >= 2 ? run_with_config(argc, argv) : print_usage();
}
