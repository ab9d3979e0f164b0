#include "figure/figure.h"
