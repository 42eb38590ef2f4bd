/* CRC-32 (IEEE 802.3, reflected 0xEDB88320) for records on disk, FNV-1a 64 for names in tables. */
#ifndef LENTIC_BASE_CHECKSUM_H
#define LENTIC_BASE_CHECKSUM_H

#include <stddef.h>
#include <stdint.h>

uint32_t checksum_crc32(uint32_t seed, const void *data, size_t n); /* seed 0 to begin, or the last result */
uint64_t checksum_fnv(const void *data, size_t n);

#endif
