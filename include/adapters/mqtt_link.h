/* What the parts of adapters/mqtt share: the connection with the library's callbacks, and its subscriptions.
 */
#ifndef LENTIC_ADAPTERS_MQTT_LINK_H
#define LENTIC_ADAPTERS_MQTT_LINK_H

#include <pthread.h>
#include <stdatomic.h>
#include "adapters/mqtt.h"
#include "adapters/mqtt_backoff.h"
#include "adapters/mqtt_filters.h"
#include "adapters/mqtt_queue.h"
#include "adapters/mqtt_socket.h"
#include "adapters/mqtt_stamp.h"

#define MQTT_ANSWER_WAIT_MS 20000 /* for the broker to accept the connection and the subscriptions */

/* Lock order: the library calls us with its own lock held, and we take ours inside. So ours is never held
 * around a call into the library. */
struct mqtt {
    char *uri, *client_id, *user, *password_file, *ca_file, *cert_file, *key_file, *will_topic, *will_payload;
    char *session_file;
    bool tls, verify, clean_start, v5;
    int port, keepalive_s, event_fd;
    bool (*on_message)(void *context, const struct message *m);
    void *context;

    void *client;               /* MQTTAsync; set by the main thread, one for each connection */
    struct mqtt_sockets before; /* main thread writes before it connects, the library's thread reads after */
    struct sockaddr_storage peer; /* the broker's end; the library's thread */
    _Atomic int fd;               /* the connection's, -1 */
    _Atomic bool spoilt;          /* the client must not be destroyed */
    _Atomic bool cut;             /* no acknowledgement leaves this connection any more */
    _Atomic uint64_t received, held_back, published, publish_failed;
    _Atomic bool connected_news, disconnected;
    struct mqtt_stamps stamps; /* receiving thread */

    pthread_mutex_t lock; /* what follows */
    struct mqtt_state state;
    mono_t next_try;
    struct mqtt_backoff backoff;
    struct mqtt_filters wanted, stale;
    int in_flight, in_flight_most; /* most: what this broker takes */
    struct mqtt_queue waiting;
    bool save_filters;
    char tls_fault[80];
    mono_t files_seen;  /* when certificate_until was looked up */
    bool clock_doubted; /* at the last try, which a certificate ended */
};

/* Main thread, link down: one try, its end by link_ended or an accepted subscription. */
void mqtt_link_start(struct mqtt *m);
/* Any thread. A second end of the same link changes nothing. */
void mqtt_link_ended(struct mqtt *m, enum mqtt_end end, const char *reason);
/* Main thread, link down: no client any more. */
void mqtt_link_let_go(struct mqtt *m);
/* Main thread: nothing connects in this one's name any more. */
void mqtt_link_end_turn(struct mqtt *m);
void mqtt_link_set(struct mqtt *m, enum mqtt_link link, const char *reason); /* lock held */
bool mqtt_link_stands(const struct mqtt *m); /* lock held: something can be published */
void mqtt_link_ring(const struct mqtt *m);
/* STATUS_INVALID: a TLS file cannot be read. *until as mqtt_state.certificate_until. */
enum status mqtt_link_check_files(const struct mqtt *m, utc_t *until, struct why *why) LENTIC_CHECKED;

/* On a connection that stands: asks for what is wanted, takes back what is stale. */
void mqtt_link_subscribe(struct mqtt *m);

#endif
