#include "base/checksum.h"

#define CRC_POLYNOMIAL UINT32_C(0xEDB88320)
#define CRC_STRIDE     8

/* crc_of_byte[k][b]: the checksum of byte b with k zero bytes behind it, so that eight bytes go at a time:
 * the engine's whole state is checked with every alert. */
static uint32_t crc_of_byte[CRC_STRIDE][256];

/* Before main, so that no thread ever sees it half filled. */
__attribute__((constructor)) static void fill_table(void)
{
    for (uint32_t byte = 0; byte < 256; byte++) {
        uint32_t crc = byte;
        for (int bit = 0; bit < 8; bit++)
            crc = (crc >> 1) ^ (crc & 1 ? CRC_POLYNOMIAL : 0);
        crc_of_byte[0][byte] = crc;
    }
    for (int k = 1; k < CRC_STRIDE; k++)
        for (int byte = 0; byte < 256; byte++) {
            uint32_t crc = crc_of_byte[k - 1][byte];
            crc_of_byte[k][byte] = (crc >> 8) ^ crc_of_byte[0][crc & 255];
        }
}

static uint32_t word_at(const uint8_t *bytes)
{
    return (uint32_t)bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 | (uint32_t)bytes[3] << 24;
}

static uint32_t eight_more(uint32_t crc, const uint8_t *bytes)
{
    uint32_t a = crc ^ word_at(bytes), b = word_at(bytes + 4);
    return crc_of_byte[7][a & 255] ^ crc_of_byte[6][a >> 8 & 255] ^ crc_of_byte[5][a >> 16 & 255] ^
           crc_of_byte[4][a >> 24] ^ crc_of_byte[3][b & 255] ^ crc_of_byte[2][b >> 8 & 255] ^
           crc_of_byte[1][b >> 16 & 255] ^ crc_of_byte[0][b >> 24];
}

uint32_t checksum_crc32(uint32_t seed, const void *data, size_t n)
{
    const uint8_t *bytes = data;
    uint32_t crc = ~seed;
    for (; n >= CRC_STRIDE; bytes += CRC_STRIDE, n -= CRC_STRIDE)
        crc = eight_more(crc, bytes);
    for (; n > 0; bytes++, n--)
        crc = (crc >> 8) ^ crc_of_byte[0][(crc ^ *bytes) & 255];
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
