#include "base/checksum.h"

/* Half a byte at a time: sixteen words of table stay in the cache of a small board. */
static const uint32_t crc_of_nibble[16] = {
    0x00000000, 0x1DB71064, 0x3B6E20C8, 0x26D930AC, 0x76DC4190, 0x6B6B51F4, 0x4DB26158, 0x5005713C,
    0xEDB88320, 0xF00F9344, 0xD6D6A3E8, 0xCB61B38C, 0x9B64C2B0, 0x86D3D2D4, 0xA00AE278, 0xBDBDF21C,
};

uint32_t checksum_crc32(uint32_t seed, const void *data, size_t n)
{
    const uint8_t *bytes = data;
    uint32_t crc = ~seed;
    for (size_t i = 0; i < n; i++) {
        crc ^= bytes[i];
        crc = (crc >> 4) ^ crc_of_nibble[crc & 15];
        crc = (crc >> 4) ^ crc_of_nibble[crc & 15];
    }
    return ~crc;
}

uint64_t checksum_fnv(const void *data, size_t n)
{
    const uint8_t *bytes = data;
    uint64_t hash = UINT64_C(0xCBF29CE484222325);
    for (size_t i = 0; i < n; i++) {
        hash ^= bytes[i];
        hash *= UINT64_C(0x100000001B3);
    }
    return hash;
}
