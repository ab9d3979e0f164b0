/* The invented clinic's equipment and the checks that it measures right, as the documents that the
 * interface takes: devices/001.json, and a check of it as devices/001-1.json. */
#ifndef DEMO_DATA_EQUIPMENT_H
#define DEMO_DATA_EQUIPMENT_H

#include "documents.h"

/* Writes them below order->directory. False when one could not be written. */
bool equipment_write(const struct documents_order *order);

/* Adds their list, "devices", to the index. */
void equipment_list(struct json_out *out, const struct documents_order *order);

#endif
