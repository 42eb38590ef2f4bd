#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <arpa/inet.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "adapters/clock.h"
#include "adapters/mqtt.h"

#define PLUGIN "/usr/lib/x86_64-linux-gnu/mosquitto_dynamic_security.so"

/* ---- a real broker ---- */

static char dir[32], path[96];
static pid_t broker;
static int port;
static struct why why;

static const char *in_dir(const char *name)
{
    snprintf(path, sizeof path, "%s/%s", dir, name);
    return path;
}

static void put(const char *name, const char *text, mode_t mode)
{
    FILE *f = fopen(in_dir(name), "w");
    assert_non_null(f);
    fputs(text, f);
    fclose(f);
    assert_int_equal(chmod(path, mode), 0);
}

static int free_port(void)
{
    struct sockaddr_in at = { .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
    socklen_t len = sizeof at;
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (bind(fd, (struct sockaddr *)&at, len) != 0 || getsockname(fd, (struct sockaddr *)&at, &len) != 0)
        return -1;
    close(fd);
    return ntohs(at.sin_port);
}

static bool answers(void)
{
    struct sockaddr_in at = { .sin_family = AF_INET,
                              .sin_port = htons((uint16_t)port),
                              .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    bool yes = connect(fd, (struct sockaddr *)&at, sizeof at) == 0;
    close(fd);
    return yes;
}

static void nap_ms(int ms)
{
    usleep((useconds_t)ms * 1000);
}

static void run_broker(void)
{
    in_dir("broker.conf");
    broker = fork();
    if (broker == 0) {
        int log = open("/dev/null", O_WRONLY);
        dup2(log, STDERR_FILENO);
        dup2(log, STDOUT_FILENO);
        execlp("mosquitto", "mosquitto", "-c", path, (char *)NULL);
        execl("/usr/sbin/mosquitto", "mosquitto", "-c", path, (char *)NULL);
        _exit(127);
    }
    for (int i = 0; i < 500 && !answers(); i++) {
        if (waitpid(broker, NULL, WNOHANG) == broker)
            fail_msg("mosquitto cannot be started: is it installed?");
        nap_ms(10);
    }
    assert_true(answers());
}

static void end_broker(int sig)
{
    kill(broker, sig);
    waitpid(broker, NULL, 0);
}

static void start_broker(const char *settings)
{
    char text[1024];
    port = free_port();
    snprintf(text, sizeof text,
             "listener %d 127.0.0.1\nuser root\npersistence true\npersistence_location %s/\n%s", port, dir,
             settings);
    put("broker.conf", text, 0600);
    run_broker();
}

static int make(void **state)
{
    (void)state;
    strcpy(dir, "/tmp/lentic-mqtt-XXXXXX");
    return mkdtemp(dir) == NULL;
}

static int sweep(void **state)
{
    (void)state;
    static const char *const names[] = { "broker.conf", "mosquitto.db", "password",
                                         "session",     "users",        "rights.json" };
    end_broker(SIGTERM);
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        unlink(in_dir(names[i]));
    return rmdir(dir);
}

/* ---- a client under test, with a main loop ---- */

#define KEPT 512
struct client {
    struct mqtt *mqtt;
    struct broker_settings settings;
    int event_fd;
    pthread_mutex_t lock;
    int count, refuse; /* refuse: messages still to be refused */
    struct kept {
        char topic[64], payload[64], reply[64], correlation[16];
        int qos;
        bool retain, dup;
        uint32_t expiry;
    } kept[KEPT];
};

static void keep(char *to, size_t cap, const char *from, uint32_t n)
{
    size_t len = from == NULL ? 0 : n < cap ? n : cap - 1;
    if (len > 0)
        memcpy(to, from, len);
    to[len] = '\0';
}

static bool on_message(void *context, const struct message *m)
{
    struct client *c = context;
    pthread_mutex_lock(&c->lock);
    bool take = c->refuse == 0;
    if (!take)
        c->refuse--;
    if (take && c->count < KEPT) {
        struct kept *k = &c->kept[c->count++];
        keep(k->topic, sizeof k->topic, m->topic, m->topic_len);
        keep(k->payload, sizeof k->payload, m->payload, m->payload_len);
        keep(k->reply, sizeof k->reply, m->reply_topic, m->reply_topic_len);
        keep(k->correlation, sizeof k->correlation, m->correlation, m->correlation_len);
        k->qos = m->qos;
        k->retain = m->retain;
        k->dup = m->dup;
        k->expiry = m->expiry_left_s;
    }
    pthread_mutex_unlock(&c->lock);
    eventfd_write(c->event_fd, 1);
    return take;
}

static struct mqtt_options options_for(struct client *c, const char *id, const char *const *filters,
                                       int count)
{
    static const int qos[8] = { 1, 1, 1, 1, 1, 1, 1, 1 };
    memset(c, 0, sizeof *c);
    pthread_mutex_init(&c->lock, NULL);
    c->event_fd = eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC);
    c->settings = (struct broker_settings){ .host = "127.0.0.1",
                                            .port = port,
                                            .client_id = id,
                                            .mqtt_version = 5,
                                            .keepalive_s = 20,
                                            .tls_verify = true };
    return (struct mqtt_options){ .broker = &c->settings,
                                  .filters = filters,
                                  .filter_qos = qos,
                                  .filter_count = count,
                                  .on_message = on_message,
                                  .context = c,
                                  .event_fd = c->event_fd };
}

static void open_client(struct client *c, const struct mqtt_options *options)
{
    if (mqtt_open(options, &c->mqtt, &why) != STATUS_OK)
        fail_msg("%s", why.text);
}

static void close_client(struct client *c)
{
    mqtt_close(c->mqtt, 1000);
    close(c->event_fd);
    pthread_mutex_destroy(&c->lock);
}

static int received(struct client *c)
{
    pthread_mutex_lock(&c->lock);
    int n = c->count;
    pthread_mutex_unlock(&c->lock);
    return n;
}

/* One turn of a main loop: until an event, a deadline, or 50 ms. */
static void turn(struct client *c)
{
    eventfd_t n;
    struct pollfd p = { .fd = c->event_fd, .events = POLLIN };
    int64_t due = mqtt_deadline(c->mqtt).ms;
    int64_t left = due == INT64_MAX ? 50 : due - clock_now().mono.ms;
    poll(&p, 1, left < 0 ? 0 : left > 50 ? 50 : (int)left);
    eventfd_read(c->event_fd, &n);
    mqtt_advance(c->mqtt, clock_now());
}

#define WAIT_FOR(client, condition)                                                                          \
    do {                                                                                                     \
        int64_t until_ = clock_now().mono.ms + 15000;                                                        \
        while (!(condition) && clock_now().mono.ms < until_)                                                 \
            turn(client);                                                                                    \
        if (!(condition))                                                                                    \
            fail_msg("%s; link %d: %s", #condition, (int)mqtt_state((client)->mqtt).link,                    \
                     mqtt_state((client)->mqtt).reason);                                                     \
    } while (0)

static bool is_up(struct client *c)
{
    return mqtt_state(c->mqtt).link == MQTT_UP;
}

static enum status say(struct client *c, const char *topic, const char *payload, bool retain)
{
    return mqtt_publish(c->mqtt, topic, payload, strlen(payload), 1, retain, 0);
}

/* Open, and the connection stands. */
static void connect_client(struct client *c, const char *id, const char *const *filters, int count)
{
    struct mqtt_options o = options_for(c, id, filters, count);
    open_client(c, &o);
    WAIT_FOR(c, is_up(c));
}

/* ---- tests ---- */

static void exchange(int version)
{
    static const char *filters[] = { "probes/+/temp", "do/#" };
    static struct client c;
    start_broker("allow_anonymous true\n");
    struct mqtt_options o = options_for(&c, "lentic-1", filters, 2);
    c.settings.mqtt_version = version;
    open_client(&c, &o);
    assert_int_equal(say(&c, "probes/a1/temp", "x", false), STATUS_IO);
    WAIT_FOR(&c, is_up(&c));
    assert_true(mqtt_take_connected(c.mqtt));
    assert_false(mqtt_take_connected(c.mqtt));
    assert_int_equal(say(&c, "probes/a1/temp", "24.5", false), STATUS_OK);
    assert_int_equal(say(&c, "probes/a1/ec", "250", false), STATUS_OK);
    assert_int_equal(mqtt_publish(c.mqtt, "do/note", "", 0, 0, false, 0), STATUS_OK);
    assert_int_equal(mqtt_publish(c.mqtt, "do/ack", "{}", 2, 1, false, 300), STATUS_OK);
    assert_int_equal(mqtt_answer(c.mqtt, "do/answer", "ok", 2, "c-1", 3), STATUS_OK);
    assert_int_equal(mqtt_ask(c.mqtt, "do/reset", "{}", 2, "answers/me", "c-2", 3), STATUS_OK);
    WAIT_FOR(&c, received(&c) == 5);
    assert_string_equal(c.kept[0].topic, "probes/a1/temp");
    assert_string_equal(c.kept[0].payload, "24.5");
    assert_true(c.kept[0].qos == 1 && !c.kept[0].retain && !c.kept[0].dup);
    assert_true(c.kept[1].qos == 0);
    assert_int_equal(c.kept[2].expiry, version == 5 ? 300 : 0);
    assert_string_equal(c.kept[3].correlation, version == 5 ? "c-1" : "");
    assert_string_equal(c.kept[4].reply, version == 5 ? "answers/me" : "");
    assert_string_equal(c.kept[4].correlation, version == 5 ? "c-2" : "");
    WAIT_FOR(&c, mqtt_state(c.mqtt).published == 6);
    struct mqtt_state state = mqtt_state(c.mqtt);
    assert_true(state.received == 5 && state.in_flight == 0 && state.waiting == 0 && state.connects == 1);
    assert_int_equal(say(&c, "no/+/wildcards", "x", false), STATUS_INVALID);
    assert_int_equal(say(&c, "", "x", false), STATUS_INVALID);
    assert_int_equal(say(&c, "\xff\xfe", "x", false), STATUS_INVALID);
    close_client(&c);
}

static void messages_go_both_ways(void **state)
{
    (void)state;
    exchange(5);
}

static void messages_go_both_ways_with_the_older_protocol(void **state)
{
    (void)state;
    exchange(3);
}

static void a_replayed_message_says_so(void **state)
{
    (void)state;
    static const char *filters[] = { "probes/#" };
    static struct client a, b;
    start_broker("allow_anonymous true\n");
    connect_client(&a, "a", filters, 1);
    say(&a, "probes/a1/temp", "20", true);
    WAIT_FOR(&a, received(&a) == 1);
    assert_false(a.kept[0].retain); /* live, though published to be kept */
    struct mqtt_options o = options_for(&b, "b", filters, 1);
    open_client(&b, &o);
    WAIT_FOR(&b, received(&b) == 1);
    assert_true(b.kept[0].retain);
    close_client(&b);
    close_client(&a);
}

static void after_a_broker_restart_it_hears_again(void **state)
{
    (void)state;
    static const char *filters[] = { "probes/#" };
    static struct client c;
    start_broker("allow_anonymous true\n");
    connect_client(&c, "lentic-1", filters, 1);
    assert_true(mqtt_take_connected(c.mqtt));
    end_broker(SIGKILL); /* it forgets the session */
    WAIT_FOR(&c, mqtt_state(c.mqtt).link != MQTT_UP);
    assert_true(strlen(mqtt_state(c.mqtt).reason) > 10);
    assert_int_equal(say(&c, "probes/a1/temp", "x", false), STATUS_IO);
    run_broker();
    WAIT_FOR(&c, is_up(&c));
    assert_true(mqtt_take_connected(c.mqtt));
    assert_int_equal(mqtt_state(c.mqtt).connects, 2);
    say(&c, "probes/a1/temp", "21", false);
    WAIT_FOR(&c, received(&c) == 1);
    close_client(&c);
}

static void messages_wait_at_the_broker_while_we_are_away(void **state)
{
    (void)state;
    static const char *filters[] = { "probes/#" };
    static struct client c, other;
    start_broker("allow_anonymous true\n");
    for (int version = 3; version <= 5; version += 2) {
        struct mqtt_options o = options_for(&c, "lentic-1", filters, 1);
        c.settings.mqtt_version = version;
        open_client(&c, &o);
        WAIT_FOR(&c, is_up(&c));
        close_client(&c);
        connect_client(&other, "other", NULL, 0);
        say(&other, "probes/a1/temp", "22", false);
        WAIT_FOR(&other, mqtt_state(other.mqtt).published == 1);
        close_client(&other);
        o = options_for(&c, "lentic-1", filters, 1);
        c.settings.mqtt_version = version;
        open_client(&c, &o);
        WAIT_FOR(&c, received(&c) == 1);
        close_client(&c);
    }
}

static void what_is_not_taken_comes_again_in_order(void **state)
{
    (void)state;
    static const char *filters[] = { "probes/#" };
    static struct client c, other;
    start_broker("allow_anonymous true\n");
    struct mqtt_options o = options_for(&other, "other", NULL, 0);
    open_client(&other, &o);
    for (int version = 3; version <= 5; version += 2) {
        o = options_for(&c, "lentic-1", filters, 1);
        c.settings.mqtt_version = version;
        open_client(&c, &o);
        WAIT_FOR(&c, is_up(&c));
        WAIT_FOR(&other, is_up(&other));
        say(&other, "probes/a1/temp", "0", false);
        WAIT_FOR(&c, received(&c) == 1);
        pthread_mutex_lock(&c.lock);
        c.refuse = 1;
        pthread_mutex_unlock(&c.lock);
        for (int i = 1; i < 50; i++) {
            char payload[16];
            snprintf(payload, sizeof payload, "%d", i);
            assert_int_equal(say(&other, "probes/a1/temp", payload, false), STATUS_OK);
        }
        WAIT_FOR(&c, mqtt_state(c.mqtt).held_back > 0 && mqtt_state(c.mqtt).link == MQTT_DOWN);
        assert_non_null(strstr(mqtt_state(c.mqtt).reason, "no room"));
        WAIT_FOR(&c, received(&c) >= 50);
        for (int i = 0; i < 50; i++)
            assert_int_equal(atoi(c.kept[i].payload), i);
        assert_true(c.kept[1].dup);
        assert_int_equal(mqtt_state(c.mqtt).taken_over, 0);
        close_client(&c);
    }
    close_client(&other);
}

static void refused_credentials_are_told_plainly(void **state)
{
    (void)state;
    static struct client c;
    char settings[128];
    put("users", "keeper:$7$101$bm9uZQ==$bm9uZQ==\n", 0600);
    snprintf(settings, sizeof settings, "allow_anonymous false\npassword_file %s/users\n", dir);
    start_broker(settings);
    for (int version = 3; version <= 5; version += 2) {
        struct mqtt_options o = options_for(&c, "lentic-1", NULL, 0);
        char secret[96];
        put("password", "wrong\n", 0600);
        strcpy(secret, path);
        c.settings.mqtt_version = version;
        c.settings.user = "keeper";
        c.settings.password_file = secret;
        open_client(&c, &o);
        WAIT_FOR(&c, mqtt_state(c.mqtt).link == MQTT_DOWN);
        assert_non_null(strstr(mqtt_state(c.mqtt).reason, "password"));
        assert_true(mqtt_deadline(c.mqtt).ms <= clock_now().mono.ms + 1001);
        put("password", "wrong\n", 0644); /* read anew at each try */
        WAIT_FOR(&c, strstr(mqtt_state(c.mqtt).reason, "chmod 600") != NULL);
        assert_int_equal(mqtt_state(c.mqtt).connects, 0);
        close_client(&c);
        assert_int_equal(mqtt_open(&o, &c.mqtt, &why), STATUS_INVALID);
        assert_non_null(strstr(why.text, "chmod 600"));
    }
}

static void no_broker_is_told_and_tried_again(void **state)
{
    (void)state;
    static struct client c;
    start_broker("allow_anonymous true\n");
    end_broker(SIGTERM);
    struct mqtt_options o = options_for(&c, "lentic-1", NULL, 0);
    open_client(&c, &o);
    WAIT_FOR(&c, mqtt_state(c.mqtt).link == MQTT_DOWN);
    assert_non_null(strstr(mqtt_state(c.mqtt).reason, "127.0.0.1"));
    run_broker();
    WAIT_FOR(&c, is_up(&c));
    assert_string_equal(mqtt_state(c.mqtt).reason, "");
    close_client(&c);
}

static void a_broker_that_dies_again_and_again_is_no_takeover(void **state)
{
    (void)state;
    static struct client c;
    start_broker("allow_anonymous true\n");
    struct mqtt_options o = options_for(&c, "lentic-1", NULL, 0);
    open_client(&c, &o);
    for (int i = 0; i < 3; i++) {
        WAIT_FOR(&c, is_up(&c));
        end_broker(SIGKILL);
        WAIT_FOR(&c, mqtt_state(c.mqtt).link == MQTT_DOWN);
        assert_null(strstr(mqtt_state(c.mqtt).reason, "client id"));
        run_broker(); /* before the next try: nothing else tells that it was away */
    }
    assert_int_equal(mqtt_state(c.mqtt).taken_over, 0);
    WAIT_FOR(&c, is_up(&c));
    close_client(&c);
}

/* Takes the next connection that speaks; what only looks whether somebody is there is let go. */
static int accept_client(int listener)
{
    static const uint8_t accepted[] = { 0x20, 3, 0, 0, 0 };
    char connect[256];
    int fd = accept(listener, NULL, NULL);
    while (fd >= 0 && recv(fd, connect, sizeof connect, 0) <= 10) {
        close(fd);
        fd = accept(listener, NULL, NULL);
    }
    assert_int_equal(send(fd, accepted, sizeof accepted, 0), sizeof accepted);
    return fd;
}

static int listen_somewhere(struct client *c)
{
    struct sockaddr_in at = { .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
    socklen_t len = sizeof at;
    int listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_int_equal(bind(listener, (struct sockaddr *)&at, len), 0);
    assert_int_equal(listen(listener, 4), 0);
    assert_int_equal(getsockname(listener, (struct sockaddr *)&at, &len), 0);
    c->settings.port = ntohs(at.sin_port);
    return listener;
}

static void drops_without_a_word_by_a_broker_that_stays_are_told(void **state)
{
    (void)state;
    static struct client c;
    start_broker("allow_anonymous true\n"); /* ended by the sweep */
    struct mqtt_options o = options_for(&c, "same", NULL, 0);
    int listener = listen_somewhere(&c);
    open_client(&c, &o);
    for (int i = 0; i < 3; i++) {
        assert_null(strstr(mqtt_state(c.mqtt).reason, "client id"));
        WAIT_FOR(&c, mqtt_state(c.mqtt).link == MQTT_CONNECTING);
        int fd = accept_client(listener);
        WAIT_FOR(&c, is_up(&c));
        close(fd);
        WAIT_FOR(&c, mqtt_state(c.mqtt).link == MQTT_DOWN);
    }
    assert_int_equal(mqtt_state(c.mqtt).taken_over, 1);
    assert_non_null(strstr(mqtt_state(c.mqtt).reason, "probably another client"));
    assert_non_null(strstr(mqtt_state(c.mqtt).reason, "its own broker.client_id"));
    assert_true(mqtt_deadline(c.mqtt).ms > clock_now().mono.ms + 20000);
    close(listener);
    close_client(&c);
}

static void a_takeover_said_by_the_broker_is_told(void **state)
{
    (void)state;
    static struct client c;
    static const uint8_t taken_over[] = { 0xE0, 1, 0x8E };
    start_broker("allow_anonymous true\n");
    struct mqtt_options o = options_for(&c, "same", NULL, 0);
    int listener = listen_somewhere(&c);
    open_client(&c, &o);
    int fd = accept_client(listener);
    WAIT_FOR(&c, is_up(&c));
    assert_int_equal(send(fd, taken_over, sizeof taken_over, 0), sizeof taken_over);
    WAIT_FOR(&c, mqtt_state(c.mqtt).link == MQTT_DOWN);
    assert_int_equal(mqtt_state(c.mqtt).taken_over, 1);
    assert_non_null(strstr(mqtt_state(c.mqtt).reason, "client id"));
    assert_true(mqtt_deadline(c.mqtt).ms > clock_now().mono.ms + 20000);
    close(fd);
    close(listener);
    close_client(&c);
}

/* This broker says nothing when it throws a client out for another of the same id. */
static void two_of_one_id_stop_throwing_each_other_out(void **state)
{
    (void)state;
    static struct client a, b;
    start_broker("allow_anonymous true\n");
    connect_client(&a, "same", NULL, 0);
    struct mqtt_options o = options_for(&b, "same", NULL, 0);
    open_client(&b, &o);
    int64_t until = clock_now().mono.ms + 40000;
    struct client *first = NULL;
    while (first == NULL && clock_now().mono.ms < until) {
        turn(&a);
        turn(&b);
        first = mqtt_state(a.mqtt).taken_over > 0 ? &a : mqtt_state(b.mqtt).taken_over > 0 ? &b : NULL;
    }
    assert_non_null(first);
    assert_non_null(strstr(mqtt_state(first->mqtt).reason, "client id"));
    assert_true(mqtt_deadline(first->mqtt).ms > clock_now().mono.ms + 20000);
    assert_true(mqtt_state(first->mqtt).connects <= 4);
    close_client(&a);
    close_client(&b);
}

static void a_refused_filter_is_named(void **state)
{
    (void)state;
    static const char *filters[] = { "probes/#", "secret/#", "do/+" }, *one[] = { "secret/#" };
    static struct client c;
    char settings[256];
    if (access(PLUGIN, R_OK) != 0)
        fail_msg("the broker's plugin %s is missing: the package mosquitto brings it", PLUGIN);
    put("rights.json",
        "{\"defaultACLAccess\":{\"publishClientSend\":true,\"publishClientReceive\":true,\"subscribe\":true,"
        "\"unsubscribe\":true},\"clients\":[],\"groups\":[{\"groupname\":\"all\",\"roles\":[{\"rolename\":"
        "\"r\"}]}],"
        "\"roles\":[{\"rolename\":\"r\",\"acls\":[{\"acltype\":\"subscribePattern\",\"topic\":\"secret/#\","
        "\"priority\":1,\"allow\":false}]}],\"anonymousGroup\":\"all\"}",
        0600);
    snprintf(settings, sizeof settings,
             "allow_anonymous true\nplugin " PLUGIN "\nplugin_opt_config_file %s\n", path);
    start_broker(settings);
    for (int i = 0; i < 4; i++) {
        struct mqtt_options o = options_for(&c, "lentic-1", i < 2 ? filters : one, i < 2 ? 3 : 1);
        c.settings.mqtt_version = i % 2 ? 3 : 5;
        open_client(&c, &o);
        WAIT_FOR(&c, mqtt_state(c.mqtt).link == MQTT_DEAF);
        assert_non_null(strstr(mqtt_state(c.mqtt).reason, "\"secret/#\""));
        assert_int_equal(say(&c, "probes/a1/temp", "1", false), STATUS_OK); /* what works goes on */
        if (i < 2)
            WAIT_FOR(&c, received(&c) == 1);
        assert_int_equal(mqtt_resubscribe(c.mqtt, filters, (const int[]){ 1 }, 1), STATUS_OK);
        WAIT_FOR(&c, is_up(&c));
        close_client(&c);
    }
}

static void old_topics_are_taken_back(void **state)
{
    (void)state;
    static const char *before[] = { "old/#", "probes/#" }, *after[] = { "probes/#", "new/#" },
                      *later[] = { "new/#" };
    static struct client c, other;
    char session[96];
    start_broker("allow_anonymous true\n");
    strcpy(session, in_dir("session"));
    struct mqtt_options o = options_for(&c, "lentic-1", before, 2);
    o.session_file = session;
    open_client(&c, &o);
    WAIT_FOR(&c, is_up(&c));
    close_client(&c);
    connect_client(&other, "other", NULL, 0);
    o = options_for(&c, "lentic-1", after, 2); /* another configuration in the next run */
    o.session_file = session;
    open_client(&c, &o);
    WAIT_FOR(&c, is_up(&c));
    nap_ms(200);
    say(&other, "old/1", "1", false);
    say(&other, "new/1", "2", false);
    WAIT_FOR(&c, received(&c) == 1);
    assert_string_equal(c.kept[0].topic, "new/1");
    assert_int_equal(mqtt_resubscribe(c.mqtt, later, (const int[]){ 1 }, 1), STATUS_OK); /* a reload */
    nap_ms(200);
    say(&other, "probes/1", "3", false);
    say(&other, "new/1", "4", false);
    WAIT_FOR(&c, received(&c) == 2);
    assert_string_equal(c.kept[1].topic, "new/1");
    for (int i = 0; i < 20; i++)
        turn(&c);
    FILE *f = fopen(session, "r");
    char text[256] = "";
    assert_non_null(f);
    assert_true(fread(text, 1, sizeof text - 1, f) > 0);
    fclose(f);
    assert_string_equal(text, "lentic-1\nnew/#\n");
    close_client(&c);
    close_client(&other);
}

static void the_will_tells_a_death_and_not_a_clean_end(void **state)
{
    (void)state;
    static const char *filters[] = { "status" };
    static struct client c, other;
    start_broker("allow_anonymous true\n");
    connect_client(&other, "other", filters, 1);
    struct mqtt_options o = options_for(&c, "lentic-1", NULL, 0);
    o.will_topic = "status";
    o.will_payload = "offline";
    open_client(&c, &o);
    WAIT_FOR(&c, is_up(&c));
    say(&c, "status", "stopped", true);
    close_client(&c); /* publishes what is on its way, then leaves */
    WAIT_FOR(&other, received(&other) >= 1);
    nap_ms(300);
    assert_int_equal(received(&other), 1);
    assert_string_equal(other.kept[0].payload, "stopped");
    pid_t child = fork();
    if (child == 0) {
        char at[16];
        snprintf(at, sizeof at, "%d", port);
        execlp("mosquitto_sub", "mosquitto_sub", "-p", at, "-t", "none", "--will-topic", "status",
               "--will-payload", "offline", (char *)NULL);
        _exit(127);
    }
    nap_ms(500);
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
    WAIT_FOR(&other, received(&other) == 2);
    assert_string_equal(other.kept[1].payload, "offline");
    close_client(&other);
}

static void many_publishes_are_all_acknowledged(void **state)
{
    (void)state;
    static struct client c;
    start_broker("allow_anonymous true\n");
    connect_client(&c, "lentic-1", NULL, 0);
    unsigned sent = 0, full = 0;
    for (int i = 0; i < 20000; i++) {
        enum status status = say(&c, "probes/a1/temp", "25.1", false);
        sent += status == STATUS_OK;
        full += status == STATUS_FULL;
        struct mqtt_state s = mqtt_state(c.mqtt);
        assert_true(s.in_flight <= MQTT_IN_FLIGHT_MAX);
    }
    assert_int_equal(sent + full, 20000);
    assert_true(sent >= 3000 && full > 0);
    WAIT_FOR(&c, mqtt_state(c.mqtt).published == sent);
    assert_int_equal(mqtt_state(c.mqtt).publish_failed, 0);
    close_client(&c);
}

/* Paho counts what it holds, and says so to whoever asks. */
struct paho_heap {
    size_t held, most;
};
extern struct paho_heap *Heap_get_info(void);

static void what_is_lent_is_given_back(void **state)
{
    (void)state;
    static const char *filters[] = { "probes/#" };
    static struct client c, other;
    start_broker("allow_anonymous true\n");
    struct mqtt_options o = options_for(&c, "lentic-1", filters, 1);
    open_client(&c, &o);
    o = options_for(&other, "other", NULL, 0);
    open_client(&other, &o);
    WAIT_FOR(&c, is_up(&c));
    WAIT_FOR(&other, is_up(&other));
    unsigned sent = 0;
    while (sent < 500)
        if (say(&other, "probes/a1/temp", "25.1", false) == STATUS_OK)
            sent++;
        else
            nap_ms(1);
    WAIT_FOR(&c, received(&c) >= 500 && mqtt_state(other.mqtt).published == sent);
    close_client(&c);
    close_client(&other);
    /* 500 messages not given back would be over 500 * 48 bytes. */
    assert_in_range(Heap_get_info()->held, 0, 4096);
}

#define WITH_BROKER(test) cmocka_unit_test_setup_teardown(test, make, sweep)
int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_BROKER(messages_go_both_ways),
        WITH_BROKER(messages_go_both_ways_with_the_older_protocol),
        WITH_BROKER(a_replayed_message_says_so),
        WITH_BROKER(after_a_broker_restart_it_hears_again),
        WITH_BROKER(messages_wait_at_the_broker_while_we_are_away),
        WITH_BROKER(what_is_not_taken_comes_again_in_order),
        WITH_BROKER(refused_credentials_are_told_plainly),
        WITH_BROKER(no_broker_is_told_and_tried_again),
        WITH_BROKER(a_broker_that_dies_again_and_again_is_no_takeover),
        WITH_BROKER(drops_without_a_word_by_a_broker_that_stays_are_told),
        WITH_BROKER(a_takeover_said_by_the_broker_is_told),
        WITH_BROKER(two_of_one_id_stop_throwing_each_other_out),
        WITH_BROKER(a_refused_filter_is_named),
        WITH_BROKER(old_topics_are_taken_back),
        WITH_BROKER(the_will_tells_a_death_and_not_a_clean_end),
        WITH_BROKER(many_publishes_are_all_acknowledged),
        WITH_BROKER(what_is_lent_is_given_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
