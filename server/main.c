#include "app.h"

#include "api/routes.h"
#include "auth/password.h"
#include "parameters.h"

#include <stdio.h>
#include <string.h>

static int print_usage(void)
{
    printf("penstock-server %s: keeps and computes urodynamic studies over HTTP\n\n"
           "  penstock-server serve\n"
           "  penstock-server migrate\n"
           "  penstock-server clinic add NAME\n"
           "  penstock-server account add CLINIC_ID USERNAME ROLE[,ROLE...]   (password on stdin)\n"
           "  penstock-server recompute [--clinic ID] [--dry-run]\n"
           "  penstock-server routes\n"
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

static int run_recompute(const struct config *config, int argc, char **argv)
{
    const char *clinic_id = NULL;
    bool dry_run = false;
    for (int i = 2; i < argc; i++) {
        if (strcmp(argv[i], "--dry-run") == 0) {
            dry_run = true;
        } else if (strcmp(argv[i], "--clinic") == 0 && i + 1 < argc) {
            clinic_id = argv[++i];
        } else {
            return print_usage();
        }
    }
    return app_recompute(config, clinic_id, dry_run);
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
    if (is_command(argc, argv, 6, "account", "add")) {
        return app_account_add(&config, argv[3], argv[4], argv[5]);
    }
    if (strcmp(argv[1], "recompute") == 0) {
        return run_recompute(&config, argc, argv);
    }
    return print_usage();
}

int main(int argc, char **argv)
{
    if (!password_library_start()) {
        (void)fprintf(stderr, "penstock-server: libsodium cannot be used on this machine\n");
        return 1;
    }
    if (argc >= 2 && is_command(argc, argv, 2, "version", NULL)) {
        printf("penstock-server %s\n", PENSTOCK_VERSION);
        return 0;
    }
    if (argc >= 2 && is_command(argc, argv, 2, "routes", NULL)) {
        routes_print();
        return 0;
    }
    if (argc >= 2 && is_command(argc, argv, 2, "parameters", NULL)) {
        parameters_print();
        return 0;
    }
    return argc >= 2 ? run_with_config(argc, argv) : print_usage();
}
