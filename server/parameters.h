/* The reference of everything that the analysis computes, as text. */
#ifndef PARAMETERS_H
#define PARAMETERS_H

/* Prints, in Markdown, every section with its values and lists (unit, definition, source), the
 * limits that a clinic may choose, and the chart lines. api-docs/parameters.md is this text. */
void parameters_print(void);

#endif
