/* When the certificates of a PEM file end. */
#ifndef LENTIC_ADAPTERS_CERTIFICATE_H
#define LENTIC_ADAPTERS_CERTIFICATE_H

#include <stddef.h>
#include "base/times.h"

/* The earliest end of the certificates in the file (RFC 7468 text, RFC 5280 structure), as of a chain that
 * counts whole; the latest, as of authorities of which one suffices. UTC_NONE when there is none that can be
 * read. Checks nothing else about them. */
utc_t certificate_ends(const char *path);
utc_t certificate_last_ends(const char *path);

/* The end of one certificate in DER. UTC_NONE when the bytes are not such. */
utc_t certificate_der_ends(const uint8_t *der, size_t n);

#endif
