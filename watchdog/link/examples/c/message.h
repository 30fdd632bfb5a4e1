/* Reads permits and commands, strictly: JSON after RFC 8259, UTF-8, every
 * member there once, in its own case, of its own type, inside its range. Members
 * that are not known are passed over. 0 means refused. No heap. */
#ifndef PF_MESSAGE_H
#define PF_MESSAGE_H

#include <stddef.h>
#include <stdint.h>

#include "receiver.h"

struct pf_message {
    char id[PF_NAME_MAX + 1]; /* a permit's session, a command's id */
    int64_t seq;
    int go;                   /* of a permit */
    int land;                 /* of a command: land, not stop */
    int64_t stamp, valid;     /* ns */
};

int pf_read_permit(struct pf_message *m, const char *payload, size_t len);
int pf_read_command(struct pf_message *m, const char *payload, size_t len);

#endif
