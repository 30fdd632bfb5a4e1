#include "mqtt.h"

#include <string.h>

/* Begins a packet whose body takes size bytes (§2.2); 0 where it does not fit. */
static int begin(struct mqtt *m, int type, size_t size) {
    if (size > 16383 || m->out_len + 3 + size > MQTT_OUT)
        return 0;
    m->out[m->out_len++] = (unsigned char)type;
    if (size > 127)
        m->out[m->out_len++] = (unsigned char)(size % 128 | 128);
    m->out[m->out_len++] = (unsigned char)(size > 127 ? size / 128 : size);
    return 1;
}

static void bytes(struct mqtt *m, const void *p, size_t n) {
    memcpy(m->out + m->out_len, p, n);
    m->out_len += n;
}

static void text(struct mqtt *m, const char *s) {
    size_t n = strlen(s);
    unsigned char size[2] = {(unsigned char)(n >> 8), (unsigned char)n};
    bytes(m, size, 2);
    bytes(m, s, n);
}

/* §3.1, a clean session. */
void mqtt_connect(struct mqtt *m, const char *client_id, int keep_alive) {
    unsigned char head[10] = {0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0, (unsigned char)keep_alive};
    m->in_len = m->out_len = 0;
    m->up = 0;
    if (begin(m, 0x10, sizeof head + 2 + strlen(client_id))) {
        bytes(m, head, sizeof head);
        text(m, client_id);
    }
}

/* §3.8, QoS 0. */
void mqtt_subscribe(struct mqtt *m, const char *topic) {
    if (begin(m, 0x82, 2 + 2 + strlen(topic) + 1)) {
        bytes(m, "\0\1", 2);
        text(m, topic);
        bytes(m, "\0", 1);
    }
}

/* §3.3, QoS 0, not retained. */
void mqtt_publish(struct mqtt *m, const char *topic, const char *payload, size_t len) {
    if (m->up && begin(m, 0x30, 2 + strlen(topic) + len)) {
        text(m, topic);
        bytes(m, payload, len);
    }
}

/* §3.12. */
void mqtt_ping(struct mqtt *m) { begin(m, 0xc0, 0); }

static int packet(struct mqtt *m, const unsigned char *body, size_t size, int type) {
    size_t topic;
    if (type >> 4 == 2) /* CONNACK, §3.2 */
        return m->up = size == 2 && body[1] == 0;
    if (type >> 4 == 9) /* SUBACK, §3.9 */
        return size == 3 && body[2] == 0;
    if (type >> 4 != 3)
        return type == 0xd0; /* PINGRESP */
    if (type & 6 || size < 2) /* nobody gave it more than QoS 0 */
        return 0;
    topic = (size_t)body[0] << 8 | body[1];
    if (2 + topic > size)
        return 0;
    m->message((const char *)body + 2, topic, (const char *)body + 2 + topic, size - 2 - topic, type & 1);
    return 1;
}

int mqtt_feed(struct mqtt *m, const void *from, size_t len) {
    size_t used = 0;
    if (len > MQTT_IN - m->in_len)
        return 0;
    memcpy(m->in + m->in_len, from, len);
    m->in_len += len;
    for (;;) {
        size_t left = m->in_len - used, size = 0, head = 1;
        const unsigned char *p = m->in + used;
        int shift = 0;
        do {
            if (head >= left) {
                memmove(m->in, p, left);
                m->in_len = left;
                return 1;
            }
            size |= (size_t)(p[head] & 127) << shift;
            shift += 7;
        } while (p[head++] & 128 && shift < 28);
        if (size > MQTT_IN - head || p[head - 1] & 128)
            return 0;
        if (size > left - head) {
            memmove(m->in, p, left);
            m->in_len = left;
            return 1;
        }
        if (!packet(m, p + head, size, p[0]))
            return 0;
        used += head + size;
    }
}
