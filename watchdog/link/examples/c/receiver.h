/* The vehicle's half of the contract in C99: bytes in, "may move" out. No heap,
 * no float, no input or output; some three kilobytes in all. Copy it as it is.
 *
 * Give it every message of the vehicle's permit and command topics and of the
 * command topic of all vehicles, and ask pf_may_move at every turn of the
 * control loop. now is always nanoseconds on the vehicle's own clock, the clock
 * that stamps its poses. Call it from one thread. A receiver of zeros is ready,
 * and permits nothing.
 *
 * Local aviation rules, the site's own rules and a hardware emergency stop come
 * first: this is an added layer and not a certified safety function. */
#ifndef PF_RECEIVER_H
#define PF_RECEIVER_H

#include <stddef.h>
#include <stdint.h>

#define PF_NAME_MAX 64 /* bytes of an id or a session */
#define PF_FORMER 8    /* displaced sessions remembered */
#define PF_HEARD 32    /* commands remembered, to tell late copies */
#define PF_ACK_MAX 512 /* bytes that hold any acknowledgement */

enum pf_action { PF_STOP, PF_LAND, PF_GO };

struct pf_session {
    char name[PF_NAME_MAX + 1];
    int64_t seq;
};

struct pf_receiver {
    enum pf_action lost; /* what to do when the permit ends: PF_STOP or PF_LAND */
    struct pf_session in_force, former[PF_FORMER];
    int next_former;
    int go;               /* the newest permit says go */
    int64_t stamp, valid; /* of the newest permit, ns */
    int64_t aged;         /* the greatest age it was seen at, ns */
    int latched;          /* a command holds the vehicle */
    enum pf_action latch; /* which */
    int said_no;          /* a permit that says no was accepted since that command */
    char heard[PF_HEARD][PF_NAME_MAX + 1];
    int next_heard;
};

void pf_permit(struct pf_receiver *r, const char *payload, size_t len, int retained, int64_t now);

/* Obeys, and writes what to publish on the ack topic; 0 bytes: nothing. */
size_t pf_command(struct pf_receiver *r, const char *payload, size_t len, int64_t now, char ack[PF_ACK_MAX]);

/* The broker speaks for a watchdog that is gone: latches each time. */
void pf_all_command(struct pf_receiver *r, const char *payload, size_t len);

/* PF_GO, or what to do instead. A permit that it has seen run out is over, also
 * where the clock is set back or a counter wraps after that. */
enum pf_action pf_may_move(struct pf_receiver *r, int64_t now);

/* Writes ns as decimal seconds, exactly; at most 22 bytes. For poses too. */
size_t pf_seconds(char *out, int64_t ns);

#endif
