/* How long names of things may be. */
#ifndef LENTIC_MODEL_NAMES_H
#define LENTIC_MODEL_NAMES_H

#define ID_MAX         32 /* bytes of an id, without terminator: a-z 0-9 - ; starts with a letter or digit */
#define PLACE_TEXT_MAX 48 /* "tank/ID" */

#endif
