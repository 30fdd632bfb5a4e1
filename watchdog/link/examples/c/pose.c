/* Publishes a pose a hundred times a second, with libmosquitto:
 *     cc -o pose pose.c -lmosquitto && ./pose HOST PORT VEHICLE */
#define _POSIX_C_SOURCE 200809L
#include <mosquitto.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

int main(int argc, char **argv) {
    static char topic[128], pose[512];
    struct mosquitto *m = (mosquitto_lib_init(), mosquitto_new(NULL, true, NULL));
    if (argc != 4 || !m)
        return 2;
    mosquitto_int_option(m, MOSQ_OPT_TCP_NODELAY, 1);
    mosquitto_connect(m, argv[1], atoi(argv[2]), 5);
    snprintf(topic, sizeof topic, "pinfold/%s/pose", argv[3]);
    for (long seq = 1;; seq++) {
        struct timespec t, pause = {0, 10000000};
        clock_gettime(CLOCK_MONOTONIC, &t);
        int n = snprintf(pose, sizeof pose, "{\"stamp\":%lld.%09ld,\"seq\":%ld,\"tracker\":\"tracker-%ld\",\"confidence\":1,"
            "\"position\":{\"x\":%g,\"y\":%g,\"z\":%g},\"orientation\":{\"w\":1,\"x\":0,\"y\":0,\"z\":0}}",
            (long long)t.tv_sec, t.tv_nsec, seq, (long)getpid(), 1.0, 2.0, 0.0); /* metres, from your tracker */
        mosquitto_publish(m, NULL, topic, n, pose, 0, false);
        if (mosquitto_loop(m, 0, 1) != MOSQ_ERR_SUCCESS) /* sends and hears; waits for neither */
            mosquitto_reconnect(m);
        nanosleep(&pause, NULL);
    }
}
