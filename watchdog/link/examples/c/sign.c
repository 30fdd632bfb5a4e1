#include "sign.h"

#include <stdint.h>
#include <string.h>

#define BLOCK 64
#define DIGITS 64

static const char member[] = ",\"sig\":\"", end[] = "\"}";

struct sha256 {
    uint32_t h[8];
    uint64_t len; /* bytes taken */
    unsigned char block[BLOCK];
};

static uint32_t right(uint32_t x, int n) { return x >> n | x << (32 - n); }

/* The constants are those of FIPS 180-4, section 4.2.2. */
static const uint32_t k256[64] = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

/* One block, FIPS 180-4, section 6.2.2; the schedule is kept in sixteen words. */
static void compress(struct sha256 *s) {
    uint32_t w[16], v[8];
    memcpy(v, s->h, sizeof v);
    for (int i = 0; i < 16; i++)
        w[i] = (uint32_t)s->block[4 * i] << 24 | (uint32_t)s->block[4 * i + 1] << 16 |
               (uint32_t)s->block[4 * i + 2] << 8 | s->block[4 * i + 3];
    for (int i = 0; i < 64; i++) {
        uint32_t t1, t2, *at = &w[i % 16];
        if (i >= 16) {
            uint32_t a = w[(i + 1) % 16], b = w[(i + 14) % 16];
            *at += (right(a, 7) ^ right(a, 18) ^ a >> 3) + w[(i + 9) % 16] + (right(b, 17) ^ right(b, 19) ^ b >> 10);
        }
        t1 = v[7] + (right(v[4], 6) ^ right(v[4], 11) ^ right(v[4], 25)) + ((v[4] & v[5]) ^ (~v[4] & v[6])) + k256[i] + *at;
        t2 = (right(v[0], 2) ^ right(v[0], 13) ^ right(v[0], 22)) + ((v[0] & v[1]) ^ (v[0] & v[2]) ^ (v[1] & v[2]));
        memmove(v + 1, v, 7 * sizeof v[0]);
        v[4] += t1;
        v[0] = t1 + t2;
    }
    for (int i = 0; i < 8; i++)
        s->h[i] += v[i];
}

static void begin(struct sha256 *s) {
    static const uint32_t start[8] = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a, 0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
    memcpy(s->h, start, sizeof start);
    s->len = 0;
}

static void more(struct sha256 *s, const void *data, size_t len) {
    const unsigned char *p = data;
    while (len--) {
        s->block[s->len++ % BLOCK] = *p++;
        if (s->len % BLOCK == 0)
            compress(s);
    }
}

static void finish(struct sha256 *s, unsigned char out[32]) {
    uint64_t bits = s->len * 8;
    unsigned char length[8];
    more(s, "\x80", 1);
    while (s->len % BLOCK != BLOCK - 8)
        more(s, "", 1);
    for (int i = 0; i < 8; i++)
        length[i] = (unsigned char)(bits >> (56 - 8 * i));
    more(s, length, sizeof length);
    for (int i = 0; i < 32; i++)
        out[i] = (unsigned char)(s->h[i / 4] >> (24 - 8 * (i % 4)));
}

static void keyed(struct sha256 *s, const unsigned char *key, size_t len, unsigned char with) {
    unsigned char pad[BLOCK];
    for (size_t i = 0; i < BLOCK; i++)
        pad[i] = (unsigned char)((i < len ? key[i] : 0) ^ with);
    begin(s);
    more(s, pad, BLOCK);
}

void pf_hmac(const unsigned char *key, size_t key_len, const void *a, size_t a_len, const void *b, size_t b_len,
             unsigned char out[32]) {
    struct sha256 s;
    keyed(&s, key, key_len, 0x36);
    more(&s, a, a_len);
    more(&s, b, b_len);
    finish(&s, out);
    keyed(&s, key, key_len, 0x5c);
    more(&s, out, 32);
    finish(&s, out);
}

static void write_digits(const unsigned char *key, const char *topic, const char *body, size_t len, char out[DIGITS]) {
    static const char hex[] = "0123456789abcdef";
    unsigned char sum[32];
    pf_hmac(key, PF_KEY_SIZE, topic, strlen(topic) + 1, body, len, sum); /* with the zero byte */
    for (int i = 0; i < 32; i++) {
        out[2 * i] = hex[sum[i] >> 4];
        out[2 * i + 1] = hex[sum[i] & 15];
    }
}

int pf_signed(const unsigned char key[PF_KEY_SIZE], const char *topic, const char *payload, size_t len) {
    char want[DIGITS];
    const char *rest;
    int differs = 0;
    if (len < PF_SIGNATURE_SIZE)
        return 0;
    rest = payload + len - PF_SIGNATURE_SIZE;
    if (memcmp(rest, member, sizeof member - 1) != 0 || memcmp(rest + sizeof member - 1 + DIGITS, end, sizeof end - 1) != 0)
        return 0;
    write_digits(key, topic, payload, len - PF_SIGNATURE_SIZE, want);
    for (int i = 0; i < DIGITS; i++) /* all of them, so that time tells nothing */
        differs |= want[i] ^ rest[sizeof member - 1 + (size_t)i];
    return differs == 0;
}

size_t pf_sign(const unsigned char key[PF_KEY_SIZE], const char *topic, char *message, size_t len) {
    char text[DIGITS];
    len--; /* the brace comes again after the signature */
    write_digits(key, topic, message, len, text);
    memcpy(message + len, member, sizeof member - 1);
    memcpy(message + len + sizeof member - 1, text, DIGITS);
    memcpy(message + len + sizeof member - 1 + DIGITS, end, sizeof end - 1);
    return len + PF_SIGNATURE_SIZE;
}

static int digit(int c) {
    if (c >= '0' && c <= '9')
        return c - '0';
    if ((c | 32) >= 'a' && (c | 32) <= 'f')
        return (c | 32) - 'a' + 10;
    return -1;
}

int pf_read_key(unsigned char key[PF_KEY_SIZE], const char *digits, size_t len) {
    int any = 0;
    while (len && (digits[len - 1] == '\n' || digits[len - 1] == '\r'))
        len--;
    if (len != 2 * PF_KEY_SIZE)
        return 0;
    for (size_t i = 0; i < PF_KEY_SIZE; i++) {
        int high = digit(digits[2 * i]), low = digit(digits[2 * i + 1]);
        if (high < 0 || low < 0)
            return 0;
        key[i] = (unsigned char)(high << 4 | low);
        any |= key[i];
    }
    return any != 0; /* anybody can guess zeros */
}
