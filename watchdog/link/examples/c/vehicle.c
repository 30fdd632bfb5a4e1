/* A vehicle that moves only while it holds a permit: one loop, static buffers.
 *
 *     cc -std=c99 -o vehicle vehicle.c receiver.c message.c sign.c mqtt.c
 *     ./vehicle 127.0.0.1 1883 wren [KEYFILE]
 *
 * With a key, as pinfold key --new makes it, only what is signed with it counts.
 *
 * On a board, put its timer where now_ns is, its network where the net_
 * functions are, and the motors where drive is. Nothing in the loop waits for
 * the network: the permit runs out on time whatever the link does. */
#define _POSIX_C_SOURCE 200809L

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "mqtt.h"
#include "receiver.h"
#include "sign.h"

#define MS 1000000LL
#define TURN (10 * MS)
#define PING (1000 * MS)
#define SILENT (4000 * MS) /* a broker that says nothing for so long is gone */

static struct pf_receiver receiver; /* zero: ready, and permits nothing */
static struct mqtt mqtt;
static char ack_topic[96], pose_topic[96], permit_topic[96], command_topic[96];
static unsigned char key[PF_KEY_SIZE];
static int has_key;
static const char all_topic[] = "pinfold/all/command";

static int64_t now_ns(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000000000LL + t.tv_nsec;
}

/* Your motors: called at every turn. */
static void drive(enum pf_action a) {
    static const char *const words[] = {"stop\n", "land\n", "go\n"};
    static int told = -1;
    if ((int)a != told && write(1, words[a], strlen(words[a])) > 0)
        told = (int)a;
}

static int net_open(const char *host, int port) {
    struct sockaddr_in to;
    int one = 1, fd = socket(AF_INET, SOCK_STREAM, 0);
    if (fd < 0)
        return -1;
    memset(&to, 0, sizeof to);
    to.sin_family = AF_INET;
    to.sin_port = htons((unsigned short)port);
    fcntl(fd, F_SETFL, O_NONBLOCK);
    setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one); /* or acks wait 40 ms */
    if (inet_pton(AF_INET, host, &to.sin_addr) == 1 &&
        (connect(fd, (struct sockaddr *)&to, sizeof to) == 0 || errno == EINPROGRESS))
        return fd;
    close(fd);
    return -1;
}

static int waiting(void) { return errno == EAGAIN || errno == ENOTCONN; }

/* Reads and writes what can be without waiting; 0: the connection is gone. */
static int net_turn(int fd, int64_t now, int64_t *heard) {
    static char buf[1024];
    ssize_t n = recv(fd, buf, sizeof buf, 0);
    if (n > 0) {
        *heard = now;
        if (!mqtt_feed(&mqtt, buf, (size_t)n))
            return 0;
    } else if (n == 0 || !waiting()) {
        return 0;
    }
    n = mqtt.out_len ? send(fd, mqtt.out, mqtt.out_len, MSG_NOSIGNAL) : 0;
    if (n < 0)
        return waiting();
    mqtt.out_len -= (size_t)n;
    memmove(mqtt.out, mqtt.out + n, mqtt.out_len);
    return 1;
}

static int is(const char *topic, size_t len, const char *want) {
    return len == strlen(want) && memcmp(topic, want, len) == 0;
}

/* Whether a message counts: without a key, each does. */
static int counts(const char *topic, const char *payload, size_t len) {
    return !has_key || pf_signed(key, topic, payload, len);
}

static void on_message(const char *topic, size_t topic_len, const char *payload, size_t len, int retained) {
    char ack[PF_ACK_MAX + PF_SIGNATURE_SIZE];
    if (is(topic, topic_len, permit_topic)) {
        if (counts(permit_topic, payload, len))
            pf_permit(&receiver, payload, len, retained, now_ns());
    } else if (is(topic, topic_len, command_topic)) {
        size_t n = 0;
        if (counts(command_topic, payload, len))
            n = pf_command(&receiver, payload, len, now_ns(), ack);
        else
            pf_all_command(&receiver, "", 0); /* a stop: the safe side */
        if (n && has_key)
            n = pf_sign(key, ack_topic, ack, n);
        if (n)
            mqtt_publish(&mqtt, ack_topic, ack, n);
    } else if (is(topic, topic_len, all_topic)) {
        pf_all_command(&receiver, payload, counts(all_topic, payload, len) ? len : 0);
    }
}

/* A pose from your tracker, stamped by the clock that now_ns reads. */
static void publish_pose(int64_t now) {
    static const char rest[] = ",\"position\":{\"x\":1,\"y\":1,\"z\":0},"
                               "\"orientation\":{\"w\":1,\"x\":0,\"y\":0,\"z\":0}}";
    static int64_t seq;
    char pose[256] = "{\"stamp\":";
    size_t n = strlen(pose);
    n += pf_seconds(pose + n, now);
    memcpy(pose + n, ",\"seq\":", 7);
    n += 7;
    n += pf_seconds(pose + n, ++seq * 1000000000LL); /* a whole number */
    memcpy(pose + n, rest, sizeof rest - 1);
    mqtt_publish(&mqtt, pose_topic, pose, n + sizeof rest - 1);
}

static void name_topic(char *out, const char *vehicle, const char *end) {
    static const char prefix[] = "pinfold/";
    memcpy(out, prefix, sizeof prefix - 1);
    memcpy(out + sizeof prefix - 1, vehicle, strlen(vehicle));
    memcpy(out + sizeof prefix - 1 + strlen(vehicle), end, strlen(end) + 1);
}

static void on_up(void) {
    mqtt_subscribe(&mqtt, permit_topic);
    mqtt_subscribe(&mqtt, command_topic);
    mqtt_subscribe(&mqtt, all_topic);
}

/* A key from a file that only its owner may open; on a board, from its flash. */
static int read_key(const char *path) {
    char text[4 * PF_KEY_SIZE]; /* more than a key, to tell what is none */
    struct stat about;
    ssize_t n = -1;
    int fd = open(path, O_RDONLY);
    if (fd >= 0 && fstat(fd, &about) == 0 && (about.st_mode & 077) == 0)
        n = read(fd, text, sizeof text);
    if (fd >= 0)
        close(fd);
    return n > 0 && pf_read_key(key, text, (size_t)n);
}

int main(int argc, char **argv) {
    static char id[80];
    int fd = -1, port = 0, was_up = 0;
    int64_t heard = 0, pinged = 0;
    if (argc < 4 || argc > 5 || !argv[3][0] || strlen(argv[3]) > PF_NAME_MAX)
        return 2; /* usage: vehicle ADDRESS PORT VEHICLE [KEYFILE] */
    if (argc == 5 && !(has_key = read_key(argv[4])))
        return 2; /* no key, or one that others may open */
    for (const char *p = argv[2]; *p >= '0' && *p <= '9' && port < 65536; p++)
        port = port * 10 + (*p - '0');
    name_topic(ack_topic, argv[3], "/ack");
    name_topic(pose_topic, argv[3], "/pose");
    name_topic(permit_topic, argv[3], "/permit");
    name_topic(command_topic, argv[3], "/command");
    name_topic(id, argv[3], "");
    mqtt.message = on_message;
    for (;;) {
        struct pollfd ready = {fd, POLLIN, 0};
        int64_t now;
        poll(&ready, fd >= 0, TURN / MS);
        now = now_ns();
        if (fd >= 0 && (now - heard > SILENT || !net_turn(fd, now, &heard))) {
            close(fd);
            fd = -1;
            mqtt.up = 0;
        } else if (fd < 0 && now - pinged > PING / 10) {
            pinged = heard = now;
            fd = net_open(argv[1], port);
            mqtt_connect(&mqtt, id, 2);
        }
        if (mqtt.up && !was_up)
            on_up();
        was_up = mqtt.up;
        drive(pf_may_move(&receiver, now_ns()));
        publish_pose(now);
        if (mqtt.up && now - pinged > PING) {
            pinged = now;
            mqtt_ping(&mqtt);
        }
    }
}
