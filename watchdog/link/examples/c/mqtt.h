/* As much of MQTT 3.1.1 as a vehicle needs, in static buffers: QoS 0 both ways,
 * one connection, nothing that waits. It knows no socket: mqtt_feed takes bytes
 * from wherever they come, and what is to leave lies in out. */
#ifndef MQTT_H
#define MQTT_H

#include <stddef.h>

#define MQTT_IN 4096  /* a longer packet ends the connection */
#define MQTT_OUT 2048 /* what does not fit is dropped: nothing old is sent later */

struct mqtt {
    unsigned char in[MQTT_IN], out[MQTT_OUT];
    size_t in_len, out_len;
    int up; /* the broker has taken the CONNECT */
    void (*message)(const char *topic, size_t topic_len, const char *payload, size_t len, int retained);
};

void mqtt_connect(struct mqtt *m, const char *client_id, int keep_alive);
void mqtt_subscribe(struct mqtt *m, const char *topic);
void mqtt_publish(struct mqtt *m, const char *topic, const char *payload, size_t len);
void mqtt_ping(struct mqtt *m);
int mqtt_feed(struct mqtt *m, const void *bytes, size_t len); /* 0: end the connection */

#endif
