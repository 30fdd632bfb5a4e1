/* Signatures of messages: HMAC-SHA-256 (RFC 2104, FIPS 180-4) with a key of 32
 * bytes, of the topic, a zero byte, and the message up to its last member
 * ,"sig":"64 hexadecimal digits"} . No heap; half a kilobyte of stack. Where your
 * board has SHA-256 in hardware or a library, put that in its place.
 *
 *     if (pf_signed(key, topic, payload, len)) pf_permit(...);
 *
 * What is not signed on a command topic is a stop all the same: give
 * pf_all_command no bytes then. vehicle.c does so. */
#ifndef PF_SIGN_H
#define PF_SIGN_H

#include <stddef.h>

#define PF_KEY_SIZE 32       /* bytes of a key */
#define PF_SIGNATURE_SIZE 74 /* bytes of a signature in a message, brace included */

/* Whether payload is signed with key for topic. */
int pf_signed(const unsigned char key[PF_KEY_SIZE], const char *topic, const char *payload, size_t len);

/* Signs message, which ends with its brace and has room for PF_SIGNATURE_SIZE bytes
 * more; gives its new length. */
size_t pf_sign(const unsigned char key[PF_KEY_SIZE], const char *topic, char *message, size_t len);

/* HMAC-SHA-256 of two pieces, one after the other; a key of at most 64 bytes. */
void pf_hmac(const unsigned char *key, size_t key_len, const void *a, size_t a_len, const void *b, size_t b_len,
             unsigned char out[32]);

/* Reads a key of 64 hexadecimal digits, not all zeros, and the end of their line;
 * 0: it is none. */
int pf_read_key(unsigned char key[PF_KEY_SIZE], const char *digits, size_t len);

#endif
