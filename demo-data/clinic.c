#include "clinic.h"

#include "visits.h"

#define COUNT(table) (sizeof(table) / sizeof(table)[0])

const char VISITS_ALDER[] = "Alder";
const char VISITS_BIRCH[] = "Birch";
const char VISITS_ROWAN[] = "Rowan";
const char VISITS_HAZEL[] = "Hazel";

static const char *const ROOMS[] = {VISITS_ALDER, VISITS_BIRCH, VISITS_ROWAN, VISITS_HAZEL};

static const struct clinic_user USERS[] = {
    {"room-nurse", "Wilda Quillfeather", "room"},
    {"clinician", "Dr Maren Otterquay", "clinician"},
    {"physician", "Dr Tobin Larchmantle", "physician"},
    {"referrer", "Dr Elke Pebblemarch", "referrer"},
    {"integration", "Record system", "integration"},
    {"auditor", "Ansgar Gorsewhistle", "auditor"},
    {"manager", "Ottilie Fennimarsh", "administrator"},
};

/* Invented, like everything else here: no such limit is agreed on, or holds for every catheter. */
static const struct clinic_choice CHOICES[] = {
    {"voiding_efficiency_low", 80.0},
    {"watts_factor_low", 7.0},
    {"anorectal_women.rest_lower_mmhg", 38.0},
    {"anorectal_women.rest_upper_mmhg", 95.0},
    {"anorectal_women.squeeze_increment_lower_mmhg", 40.0},
    {"anorectal_women.push_rectal_rise_lower_mmhg", 35.0},
    {"anorectal_women.first_sensation_lower_ml", 10.0},
    {"anorectal_women.first_sensation_upper_ml", 75.0},
    {"anorectal_women.desire_lower_ml", 50.0},
    {"anorectal_women.desire_upper_ml", 150.0},
    {"anorectal_women.maximum_tolerated_lower_ml", 95.0},
    {"anorectal_women.maximum_tolerated_upper_ml", 280.0},
    {"anorectal_men.rest_lower_mmhg", 42.0},
    {"anorectal_men.rest_upper_mmhg", 98.0},
    {"anorectal_men.squeeze_increment_lower_mmhg", 70.0},
    {"anorectal_men.push_rectal_rise_lower_mmhg", 38.0},
    {"anorectal_men.first_sensation_lower_ml", 10.0},
    {"anorectal_men.first_sensation_upper_ml", 80.0},
    {"anorectal_men.desire_lower_ml", 55.0},
    {"anorectal_men.desire_upper_ml", 170.0},
    {"anorectal_men.maximum_tolerated_lower_ml", 110.0},
    {"anorectal_men.maximum_tolerated_upper_ml", 320.0},
};

static const struct clinic_patient PATIENTS[] = {
    [ALDERQUILL] = {"Alderquill", "Benno", "male", 68, 84.0},
    [CINDLEWICK] = {"Cindlewick", "Osric", "male", 73, 79.5},
    [DOVETARN] = {"Dovetarn", "Émile", "male", 59, 91.0},
    [ELMSPARROW] = {"Elmsparrow", "Hartwin", "male", 64, 76.0},
    [HEATHLARK] = {"Heathlark", "Jory", "male", 33, 81.0},
    [IVORYTHORN] = {"Ivorythorn", "Casimir", "male", 49, 88.5},
    [JUNIPERLEY] = {"Juniperley", "Leif", "male", 41, 70.0},
    [KESTRELBECK] = {"Kestrelbeck", "Rosalind", "female", 54, 69.0},
    [MOSSWREN] = {"Mosswren", "Zoë", "female", 37, 63.5},
    [NETTLEPIPE] = {"Nettlepipe", "Ingrith", "female", 62, 74.0},
    [PLOVERSTONE] = {"Ploverstone", "Winifrith", "female", 71, 66.0},
    [RUSHGLIMMER] = {"Rushglimmer", "Delphine", "female", 46, 58.0},
    [SEDGEWHISPER] = {"Sedgewhisper", "Noor", "female", 29, 61.0},
    [TEASELBROOK] = {"Teaselbrook", "Pippa", "female", 8, 27.0},
    [UMBERWILLOW] = {"Umberwillow", "Arlo", "male", 6, 21.5},
    [VETCHLING] = {"Vetchling", "Mattis", "male", 11, 35.0},
    [WAGTAILMERE] = {"Wagtailmere", "Liesl", "female", 13, 46.0},
    [FERNMALLOW] = {"Fernmallow", "Maren", "female", 57, 71.0},
    [BRINDLECOMB] = {"Brindlecomb", "Odile", "female", 74, 62.5},
    [HAREBELLOW] = {"Harebellow", "Tamsin", "female", 49, 67.0},
    [SORRELWYN] = {"Sorrelwyn", "Caspar", "male", 66, 85.0},
    [THISTLEDEANE] = {"Thistledeane", "Yvaine", "female", 34, 64.0},
    [YARROWMOSS] = {"Yarrowmoss", "Gerda", "female", 63, 73.5},
    [TANSYWICK] = {"Tansywick", "Ludo", "male", 45, 82.0},
    [GORSEFINCH] = {"Gorsefinch", "Ilse", "female", 19, 55.0},
    [REEDWARBLE] = {"Reedwarble", "Henrike", "female", 70, 68.0},
    [WILLOWQUIST] = {"Willowquist", "Saskia", "female", 41, 66.5},
    [LARKSPURROW] = {"Larkspurrow", "Bettina", "female", 52, 78.0},
    [BRAMBLEHYTHE] = {"Bramblehythe", "Orla", "female", 38, 60.0},
    [QUILLMARSH] = {"Quillmarsh", "Eskil", "male", 36, 74.0},
    [PIPITHOLM] = {"Pipitholm", "Runa", "female", 10, 33.0},
    [OTTERMERE] = {"Ottermere", "Mathilde", "female", 66, 72.0},
    [CRESSIDGE] = {"Cressidge", "Ambrose", "male", 71, 80.5},
    [LICHENDALE] = {"Lichendale", "Freya", "female", 9, 29.5},
    [MARROWBROOK] = {"Marrowbrook", "Svenja", "female", 60, 75.0},
    [SPINDLEWEIR] = {"Spindleweir", "Agathe", "female", 72, 64.0},
    [BURDOCKSEY] = {"Burdocksey", "Lorna", "female", 44, 69.5},
    [COLTSFOOTE] = {"Coltsfoote", "Piet", "male", 70, 88.0},
    [DAMSONGILL] = {"Damsongill", "Edda", "female", 47, 70.0},
    [EYEBRIGHTON] = {"Eyebrighton", "Valentin", "male", 28, 77.0},
};

const char *clinic_room(size_t index)
{
    return index < COUNT(ROOMS) ? ROOMS[index] : NULL;
}

const struct clinic_user *clinic_user(size_t index)
{
    return index < COUNT(USERS) ? &USERS[index] : NULL;
}

const struct clinic_choice *clinic_choice(size_t index)
{
    return index < COUNT(CHOICES) ? &CHOICES[index] : NULL;
}

const struct clinic_patient *clinic_patient(size_t index)
{
    return index < COUNT(PATIENTS) ? &PATIENTS[index] : NULL;
}

const struct clinic_visit *clinic_visit(size_t index)
{
    if (index < visits_bladder_count) {
        return &visits_bladder[index];
    }
    index -= visits_bladder_count;
    return index < visits_studies_count ? &visits_studies[index] : NULL;
}
