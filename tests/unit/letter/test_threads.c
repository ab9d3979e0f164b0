/* Letters that several workers make at the same moment: the interpreter, the parser, the fonts and
 * the PDF library work side by side, and none of them shows in what another one makes. */
#include "drawing/canvas.h"
#include "letter/letter.h"

#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

enum { WORKERS = 4, LETTERS = 6 };

struct made {
    struct arena *arena;
    const unsigned char *pdf;
    size_t length;
};

/* One language a worker, by turns, so that the same letter is made by several. */
static const char *language_of(int worker)
{
    return LETTER_LANGUAGES[worker % 2];
}

static bool make(const char *language, struct made *made)
{
    struct letter_content content;
    struct document *document = NULL;
    struct error error = {0};
    letter_example(language, &content);
    content.code = "https://clinic.example/r/00000000-0000-7000-8000-000000000000";
    content.code_label = "letter";
    made->arena = arena_new();
    return letter_make(made->arena, letter_default_template(language), &content,
                       content.signed_at_us, &document, &error) &&
           document_write_pdf(document, made->arena, &made->pdf, &made->length, &error);
}

static bool is_alike(const struct made *one, const struct made *other)
{
    return one->length == other->length && memcmp(one->pdf, other->pdf, one->length) == 0;
}

struct worker {
    pthread_barrier_t *start;
    const char *language;
    struct made first;
    int alike; /* letters like the first one */
};

static void *work(void *argument)
{
    struct worker *worker = argument;
    (void)pthread_barrier_wait(worker->start);
    bool good = make(worker->language, &worker->first);
    for (int i = 0; i < LETTERS && good; i++) {
        struct made another = {0};
        good = make(worker->language, &another);
        worker->alike += good && is_alike(&another, &worker->first) ? 1 : 0;
        arena_free(another.arena);
    }
    return NULL;
}

static void test_workers_do_not_show_in_each_others_letters(void **state)
{
    (void)state;
    pthread_barrier_t start;
    pthread_t threads[WORKERS];
    struct worker workers[WORKERS] = {0};
    assert_int_equal(pthread_barrier_init(&start, NULL, WORKERS), 0);
    for (int i = 0; i < WORKERS; i++) {
        workers[i].start = &start;
        workers[i].language = language_of(i);
        assert_int_equal(pthread_create(&threads[i], NULL, work, &workers[i]), 0);
    }
    for (int i = 0; i < WORKERS; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
    }
    (void)pthread_barrier_destroy(&start);
    for (int i = 0; i < WORKERS; i++) {
        struct made alone = {0};
        assert_true(make(workers[i].language, &alone));
        assert_int_equal(workers[i].alike, LETTERS);
        assert_true(is_alike(&alone, &workers[i].first));
        arena_free(alone.arena);
        arena_free(workers[i].first.arena);
    }
    canvas_forget_fonts();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_workers_do_not_show_in_each_others_letters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
