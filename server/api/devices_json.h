/* Devices and their checks as the JSON objects that answers hold. */
#ifndef API_DEVICES_JSON_H
#define API_DEVICES_JSON_H

#include "base/text.h"
#include "store/store_device.h"

/* What the last check of a device says of it at its moment: "not_verified", "overdue" when it
 * passed but the next one was due, else the verdict's name. */
const char *device_state_name(const struct device *device);

/* A device with its last check in short ("last_verification", null without one): when, by whom, the
 * verdict and its words. */
void device_json_append(struct text *out, const struct device *device);

/* A check in full, with every point. */
void device_verification_json_append(struct text *out,
                                     const struct device_verification *verification);

#endif
