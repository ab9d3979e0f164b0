/* Publications that more than one section's rows cite. Private to catalogue/. */
#ifndef ANALYSIS_CATALOGUE_SOURCES_H
#define ANALYSIS_CATALOGUE_SOURCES_H

#define ICS_2002        "Abrams P et al. (ICS). Neurourol Urodyn 2002;21:167-178"
#define ICS_GUP         "Schafer W et al. (ICS). Neurourol Urodyn 2002;21:261-274"
#define ICS_GUP_2016    "Rosier PFWM et al. (ICS). Neurourol Urodyn 2017;36:1243-1260"
#define ICS_PRESSURE    "Griffiths D et al. (ICS). Neurourol Urodyn 1997;16:1-18"
#define ABRAMS_1999     "Abrams P. BJU Int 1999;84:14-15"
#define COMMON_PRACTICE "common practice, no source"

#endif
