#include "receiver.h"

#include <string.h>

#include "message.h"

#define MAX_STAMP 4611686018000000000LL

static int past_bounds(int64_t now) { return now < -MAX_STAMP || now > MAX_STAMP; }

/* A session is taken up only by a fresh permit that says no. */
static int adopt(struct pf_receiver *r, const struct pf_message *m, int64_t now) {
    int64_t last = 0;
    if (m->go || past_bounds(now) || now < m->stamp || now - m->stamp > m->valid)
        return 0;
    for (int i = 0; i < PF_FORMER; i++)
        if (strcmp(r->former[i].name, m->id) == 0 && r->former[i].seq > last)
            last = r->former[i].seq;
    if (m->seq <= last)
        return 0;
    if (r->in_force.name[0]) {
        r->former[r->next_former] = r->in_force;
        r->next_former = (r->next_former + 1) % PF_FORMER;
    }
    memcpy(r->in_force.name, m->id, sizeof m->id);
    r->in_force.seq = last;
    r->go = 0;
    return 1;
}

void pf_permit(struct pf_receiver *r, const char *payload, size_t len, int retained, int64_t now) {
    struct pf_message m;
    if (retained) /* a broker hands it out at any age */
        return;
    if (!pf_read_permit(&m, payload, len))
        return; /* the permit in force runs out by itself */
    if (strcmp(m.id, r->in_force.name) != 0 && !adopt(r, &m, now))
        return;
    if (m.seq <= r->in_force.seq) /* repeated, late or replayed */
        return;
    r->in_force.seq = m.seq;
    r->stamp = m.stamp;
    r->valid = m.valid;
    r->aged = 0;
    r->go = m.go && !past_bounds(now) && now >= m.stamp; /* from the future: a clock is wrong */
    if (!m.go)
        r->said_no = 1;
    else if (r->go && r->said_no)
        r->latched = 0;
}

static void latch(struct pf_receiver *r, enum pf_action a) {
    if (!r->latched || a == PF_LAND)
        r->latch = a;
    r->latched = 1;
    r->said_no = 0;
}

/* Notes the id of a command; 0 for one heard before. */
static int remember(struct pf_receiver *r, const char *id) {
    for (int i = 0; i < PF_HEARD; i++)
        if (strcmp(r->heard[i], id) == 0)
            return 0;
    memcpy(r->heard[r->next_heard], id, PF_NAME_MAX + 1);
    r->next_heard = (r->next_heard + 1) % PF_HEARD;
    return 1;
}

static size_t put(char *out, const char *text) {
    size_t n = strlen(text);
    memcpy(out, text, n);
    return n;
}

static size_t put_quoted(char *out, const char *text) {
    static const char hex[] = "0123456789abcdef", from[] = "\b\f\n\r\t\"\\", to[] = "bfnrt\"\\";
    size_t n = 0;
    out[n++] = '"';
    for (; *text; text++) {
        const char *at = strchr(from, *text);
        if (at) {
            out[n++] = '\\';
            out[n++] = to[at - from];
        } else if ((unsigned char)*text < ' ') {
            n += put(out + n, "\\u00");
            out[n++] = hex[*text >> 4];
            out[n++] = hex[*text & 15];
        } else {
            out[n++] = *text;
        }
    }
    out[n++] = '"';
    return n;
}

size_t pf_seconds(char *out, int64_t ns) {
    char digits[20];
    size_t n = 0, k = 0;
    uint64_t u = ns < 0 ? 0 - (uint64_t)ns : (uint64_t)ns;
    uint64_t whole = u / 1000000000u, part = u % 1000000000u, unit = 100000000u;
    if (ns < 0)
        out[n++] = '-';
    do
        digits[k++] = (char)('0' + whole % 10);
    while (whole /= 10);
    while (k)
        out[n++] = digits[--k];
    if (part)
        out[n++] = '.';
    for (; part; unit /= 10) {
        out[n++] = (char)('0' + part / unit);
        part %= unit;
    }
    return n;
}

size_t pf_command(struct pf_receiver *r, const char *payload, size_t len, int64_t now, char ack[PF_ACK_MAX]) {
    struct pf_message m;
    enum pf_action doing;
    size_t n;
    if (!pf_read_command(&m, payload, len)) {
        latch(r, PF_STOP); /* nobody sends that to make a vehicle go */
        return 0;
    }
    if (remember(r, m.id))
        latch(r, m.land ? PF_LAND : PF_STOP);
    else if (r->latched && m.land)
        r->latch = PF_LAND;
    doing = m.land || (r->latched && r->latch == PF_LAND) ? PF_LAND : PF_STOP;
    n = put(ack, "{\"id\":");
    n += put_quoted(ack + n, m.id);
    n += put(ack + n, ",\"stamp\":");
    n += pf_seconds(ack + n, past_bounds(now) ? 0 : now);
    n += put(ack + n, doing == PF_LAND ? ",\"action\":\"land\"}" : ",\"action\":\"stop\"}");
    return n;
}

void pf_all_command(struct pf_receiver *r, const char *payload, size_t len) {
    struct pf_message m;
    latch(r, pf_read_command(&m, payload, len) && m.land ? PF_LAND : PF_STOP);
}

enum pf_action pf_may_move(struct pf_receiver *r, int64_t now) {
    if (r->latched)
        return r->latch;
    if (!r->in_force.name[0] || !r->go)
        return r->lost;
    if (past_bounds(now) || now < r->stamp || now - r->stamp > r->valid || r->valid == 0) {
        r->go = 0; /* for good, wherever the clock goes from here */
        return r->lost;
    }
    if (now - r->stamp < r->aged) /* the clock was set back: the permit grows no younger */
        r->stamp = now - r->aged;
    r->aged = now - r->stamp;
    return PF_GO;
}
