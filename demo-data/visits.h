/* Who comes when: the patients by name, and the tables of visits. */
#ifndef DEMO_DATA_VISITS_H
#define DEMO_DATA_VISITS_H

#include "clinic.h"

/* Order of the table of patients. Ids and signals follow from places in the tables: rows are added
 * at the end. */
enum patient_index {
    ALDERQUILL,
    CINDLEWICK,
    DOVETARN,
    ELMSPARROW,
    HEATHLARK,
    IVORYTHORN,
    JUNIPERLEY,
    KESTRELBECK,
    MOSSWREN,
    NETTLEPIPE,
    PLOVERSTONE,
    RUSHGLIMMER,
    SEDGEWHISPER,
    TEASELBROOK,
    UMBERWILLOW,
    VETCHLING,
    WAGTAILMERE,
    FERNMALLOW,
    BRINDLECOMB,
    HAREBELLOW,
    SORRELWYN,
    THISTLEDEANE,
    YARROWMOSS,
    TANSYWICK,
    GORSEFINCH,
    REEDWARBLE,
    WILLOWQUIST,
    LARKSPURROW,
    BRAMBLEHYTHE,
    QUILLMARSH,
    PIPITHOLM,
    OTTERMERE,
    CRESSIDGE,
    LICHENDALE,
    MARROWBROOK,
    SPINDLEWEIR,
    BURDOCKSEY,
    COLTSFOOTE,
    DAMSONGILL,
    EYEBRIGHTON,
};

#define VISITS_CLOCK(hour, minute) ((hour)*60 + (minute))

extern const char VISITS_ALDER[];
extern const char VISITS_BIRCH[];
extern const char VISITS_ROWAN[];
extern const char VISITS_HAZEL[];

/* Flow, filling and voiding: the clinic's first years. */
extern const struct clinic_visit visits_bladder[];
extern const size_t visits_bladder_count;

/* Profiles, manometry, training, and what goes wrong. The last is of today: the loader takes it for
 * the sign that everything is there. */
extern const struct clinic_visit visits_studies[];
extern const size_t visits_studies_count;

#endif
