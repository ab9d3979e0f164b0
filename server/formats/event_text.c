#include "formats/event_text.h"

void event_text_append(struct text *out, const struct document_event *event)
{
    text_append(out, event->code);
    if (event->value.known) {
        text_append(out, " [");
        text_append_number(out, event->value.value);
        text_append_char(out, ']');
    }
    text_append(out, event->note[0] != '\0' ? ": " : "");
}
