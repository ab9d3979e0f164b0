#include "drawing/canvas.h"
