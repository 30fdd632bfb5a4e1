#include "message.h"

#include <string.h>

#define PERMIT_MAX 1024
#define COMMAND_MAX 2048
#define MEMBERS_MAX 48
#define DEPTH_MAX 16 /* of unknown members; deeper ones are refused */
#define MAX_STAMP 4611686018000000000LL
#define MAX_SEQ 9007199254740991LL
#define SECOND 1000000000LL

/* A place in a message. bad stays set once anything was wrong. */
struct text {
    const unsigned char *p, *end;
    int bad;
};

static int peek(const struct text *t) { return !t->bad && t->p < t->end ? *t->p : -1; }

static void space(struct text *t) {
    while (peek(t) == ' ' || peek(t) == '\t' || peek(t) == '\n' || peek(t) == '\r')
        t->p++;
}

static int take(struct text *t, int c) {
    if (peek(t) != c)
        return 0;
    t->p++;
    return 1;
}

static void need(struct text *t, int c) {
    if (!take(t, c))
        t->bad = 1;
}

static void word(struct text *t, const char *w) {
    while (*w)
        need(t, *w++);
}

static uint32_t hex4(struct text *t) {
    uint32_t v = 0;
    for (int i = 0; i < 4; i++) {
        int c = peek(t);
        if (c >= '0' && c <= '9')
            v = v * 16 + (uint32_t)(c - '0');
        else if ((c | 32) >= 'a' && (c | 32) <= 'f' && c > 0)
            v = v * 16 + (uint32_t)((c | 32) - 'a' + 10);
        else
            t->bad = 1;
        if (!t->bad)
            t->p++;
    }
    return v;
}

static uint32_t escaped(struct text *t) {
    static const char from[] = "\"\\/bfnrt", to[] = "\"\\/\b\f\n\r\t";
    int c = peek(t);
    const char *at = c > 0 ? strchr(from, c) : 0;
    uint32_t high, low;
    if (at) {
        t->p++;
        return (unsigned char)to[at - from];
    }
    need(t, 'u');
    high = hex4(t);
    if (high < 0xd800 || high > 0xdfff)
        return high;
    word(t, "\\u");
    low = hex4(t);
    if (high > 0xdbff || low < 0xdc00 || low > 0xdfff)
        t->bad = 1;
    return 0x10000 + ((high - 0xd800) << 10) + (low - 0xdc00);
}

/* The next character of a string, unescaped; -1 at its closing quote. */
static int32_t rune(struct text *t) {
    int c = peek(t), more;
    uint32_t v, least;
    if (c < ' ') {
        t->bad = 1;
        return -1;
    }
    t->p++;
    if (c == '"')
        return -1;
    if (c == '\\')
        return (int32_t)escaped(t);
    if (c < 0x80)
        return c;
    more = c >= 0xf0 ? 3 : c >= 0xe0 ? 2 : 1;
    least = more == 3 ? 0x10000 : more == 2 ? 0x800 : 0x80;
    if (c < 0xc0 || c > 0xf7)
        t->bad = 1;
    v = (uint32_t)c & (0x3fu >> more);
    for (; more; more--) {
        int next = peek(t);
        if (next < 0x80 || next > 0xbf) {
            t->bad = 1;
            return -1;
        }
        v = v << 6 | (uint32_t)(next & 0x3f);
        t->p++;
    }
    if (v < least || v > 0x10ffff || (v >= 0xd800 && v <= 0xdfff))
        t->bad = 1;
    return (int32_t)v;
}

/* Reads a string of at most PF_NAME_MAX bytes; out may be null, and the string
 * is then of any length. A zero byte inside is refused where it is kept. */
static void string(struct text *t, char *out) {
    size_t n = 0;
    int32_t v;
    need(t, '"');
    while (!t->bad && (v = rune(t)) >= 0) {
        size_t size = v < 0x80 ? 1 : v < 0x800 ? 2 : v < 0x10000 ? 3 : 4;
        if (!out)
            continue;
        if (n + size > PF_NAME_MAX || v == 0) {
            t->bad = 1;
            break;
        }
        if (size == 1) {
            out[n++] = (char)v;
            continue;
        }
        out[n++] = (char)((0xf00 >> size & 0xff) | (v >> 6 * (size - 1)));
        for (size_t k = size - 1; k; k--)
            out[n++] = (char)(0x80 | (v >> 6 * (k - 1) & 0x3f));
    }
    if (out)
        out[n] = 0;
}

/* A JSON number (RFC 8259): sign, leading digits, power of ten. */
struct number {
    int negative, lost, plain; /* lost: digits beyond those kept; plain: neither sign, point nor exponent */
    uint64_t digits;
    int32_t exp;
};

static int digit(const struct text *t) { return peek(t) >= '0' && peek(t) <= '9'; }

static void push(struct number *d, int c, int fraction) {
    if (d->digits > (UINT64_MAX - 9) / 10) {
        d->lost |= c != '0';
        d->exp += !fraction;
        return;
    }
    d->digits = d->digits * 10 + (uint64_t)(c - '0');
    d->exp -= fraction;
}

static struct number number(struct text *t) {
    struct number d = {0, 0, 1, 0, 0};
    if (take(t, '-'))
        d.negative = 1, d.plain = 0;
    if (!digit(t))
        t->bad = 1;
    if (take(t, '0') && digit(t))
        t->bad = 1;
    for (; digit(t); t->p++)
        push(&d, *t->p, 0);
    if (take(t, '.')) {
        d.plain = 0;
        if (!digit(t))
            t->bad = 1;
        for (; digit(t); t->p++)
            push(&d, *t->p, 1);
    }
    if (peek(t) == 'e' || peek(t) == 'E') {
        int32_t e = 0, sign = 1;
        t->p++;
        d.plain = 0;
        if (take(t, '-'))
            sign = -1;
        else
            take(t, '+');
        if (!digit(t))
            t->bad = 1;
        for (; digit(t); t->p++)
            e = e < 100000 ? e * 10 + (*t->p - '0') : 1000000;
        d.exp += sign * e;
    }
    return d;
}

/* Seconds as nanoseconds, rounded towards the past. */
static int64_t nanoseconds(struct text *t, struct number *d) {
    uint64_t v = d->digits;
    int32_t e = d->exp + 9;
    for (; e > 0 && v; e--) {
        if (v > (uint64_t)MAX_STAMP / 10) {
            t->bad = 1;
            return 0;
        }
        v *= 10;
    }
    for (; e < 0 && v; e++) {
        d->lost |= v % 10 != 0;
        v /= 10;
    }
    if (d->negative && d->lost)
        v++;
    if (v > (uint64_t)MAX_STAMP)
        t->bad = 1;
    return d->negative ? -(int64_t)v : (int64_t)v;
}

static void skip(struct text *t, int depth, int look);

/* Whether the string at a, after its quote, is the same as the one at b. */
static int same(struct text a, struct text b) {
    for (;;) {
        int32_t x = rune(&a), y = rune(&b);
        if (x != y)
            return 0;
        if (x < 0)
            return 1;
    }
}

/* Refuses a name, from quote on, that stands in the object before it. */
static void once(struct text *t, struct text object, struct text name) {
    while (object.p < name.p && !object.bad) {
        struct text a, b = name;
        space(&object);
        if (object.p >= name.p)
            return;
        a = object;
        a.p++, b.p++;
        if (same(a, b))
            t->bad = 1;
        string(&object, 0);
        space(&object);
        need(&object, ':');
        skip(&object, 1, 0);
        space(&object);
        take(&object, ',');
    }
}

/* Passes over a value; look: refuses names that stand twice. */
static void skip(struct text *t, int depth, int look) {
    struct text start;
    int open, close;
    space(t);
    open = peek(t);
    if (open == '"')
        string(t, 0);
    else if (open == 't')
        word(t, "true");
    else if (open == 'f')
        word(t, "false");
    else if (open == 'n')
        word(t, "null");
    else if (open != '{' && open != '[')
        number(t);
    if (open != '{' && open != '[')
        return;
    if (depth > DEPTH_MAX)
        t->bad = 1;
    close = open == '{' ? '}' : ']';
    take(t, open);
    start = *t;
    space(t);
    if (take(t, close))
        return;
    do {
        space(t);
        if (open == '{') {
            struct text name = *t;
            string(t, 0);
            if (look && !t->bad)
                once(t, start, name);
            space(t);
            need(t, ':');
        }
        skip(t, depth + 1, look);
        space(t);
    } while (!t->bad && take(t, ','));
    need(t, close);
}

/* What a member may be. */
enum kind { NAME, TEXT, ACTION, SEQ, FLAG, STAMP, VALID, UNKNOWN };

struct field {
    const char *name;
    enum kind kind;
    int kept; /* NAME: into m->id */
};

/* Which field the string at name, after its quote, is; -1 for none. */
static int lookup(struct text *t, struct text name, const struct field *fields, int n) {
    for (int i = 0; i < n; i++) {
        struct text a = name;
        const char *w = fields[i].name;
        int folded = 0;
        int32_t v = rune(&a);
        for (; *w; w++, v = rune(&a)) {
            if (v >= 'A' && v <= 'Z' && (v | 32) == *w)
                folded = 1;
            else if (v != *w)
                break;
        }
        if (*w || v >= 0)
            continue;
        if (folded)
            t->bad = 1; /* misspelt */
        return i;
    }
    return -1;
}

static void timing(struct text *t, struct pf_message *m, enum kind kind) {
    struct number d = number(t);
    int64_t ns;
    if (t->bad)
        return;
    ns = nanoseconds(t, &d);
    if (kind == STAMP) {
        m->stamp = ns;
    } else {
        m->valid = ns;
        if (ns < 0 || ns > SECOND || (ns == SECOND && d.lost))
            t->bad = 1;
    }
}

static void value(struct text *t, struct pf_message *m, const struct field *f) {
    char other[PF_NAME_MAX + 1];
    struct number d;
    switch (f->kind) {
    case NAME:
        string(t, f->kept ? m->id : other);
        if (!t->bad && !(f->kept ? m->id : other)[0])
            t->bad = 1;
        break;
    case TEXT:
        string(t, other);
        break;
    case ACTION:
        string(t, other);
        m->land = strcmp(other, "land") == 0;
        if (!m->land && strcmp(other, "stop") != 0)
            t->bad = 1;
        break;
    case SEQ:
        d = number(t);
        m->seq = (int64_t)d.digits;
        if (!d.plain || d.exp || d.lost || d.digits > MAX_SEQ)
            t->bad = 1;
        break;
    case FLAG:
        m->go = peek(t) == 't';
        word(t, m->go ? "true" : "false");
        break;
    case STAMP:
    case VALID:
        timing(t, m, f->kind);
        break;
    case UNKNOWN:
        if (peek(t) == 'n') {
            word(t, "null");
            break;
        }
        d = number(t);
        if (d.digits && d.exp > 289) /* beyond any double, or nearly */
            t->bad = 1;
        break;
    }
}

static int members(struct text *t, struct pf_message *m, const struct field *fields, int n) {
    struct text start;
    unsigned seen = 0;
    int count = 0;
    space(t);
    need(t, '{');
    start = *t;
    do {
        struct text name, after;
        int i;
        space(t);
        name = *t;
        string(t, 0);
        if (t->bad || ++count > MEMBERS_MAX)
            return 0;
        once(t, start, name);
        after = name;
        after.p++;
        i = lookup(t, after, fields, n);
        space(t);
        need(t, ':');
        space(t);
        if (i < 0) {
            skip(t, 1, 1);
        } else {
            value(t, m, &fields[i]);
            seen |= 1u << i;
        }
        space(t);
    } while (!t->bad && take(t, ','));
    need(t, '}');
    space(t);
    return !t->bad && t->p == t->end && seen == (1u << n) - 1;
}

static int read(struct pf_message *m, const char *payload, size_t len, size_t max, const struct field *fields, int n) {
    struct text t = {(const unsigned char *)payload, (const unsigned char *)payload + len, len > max};
    memset(m, 0, sizeof *m);
    return members(&t, m, fields, n);
}

int pf_read_permit(struct pf_message *m, const char *payload, size_t len) {
    static const struct field fields[] = {{"guard", NAME, 0}, {"session", NAME, 1}, {"seq", SEQ, 0},
                                          {"go", FLAG, 0},    {"stamp", STAMP, 0},  {"valid", VALID, 0}};
    return read(m, payload, len, PERMIT_MAX, fields, 6);
}

int pf_read_command(struct pf_message *m, const char *payload, size_t len) {
    static const struct field fields[] = {{"id", NAME, 1},       {"seq", SEQ, 0},       {"action", ACTION, 0},
                                          {"cause", TEXT, 0},    {"zone", TEXT, 0},     {"value", UNKNOWN, 0},
                                          {"limit", UNKNOWN, 0}, {"stamp", STAMP, 0},   {"valid", VALID, 0}};
    return read(m, payload, len, COMMAND_MAX, fields, 9);
}
