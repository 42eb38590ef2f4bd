#include "adapters/mqtt_words.h"

#include <stddef.h>

static const struct {
    int code;
    const char *words;
} table[] = {
    { 1, "the broker does not speak this version of MQTT: set broker.mqtt_version to 3" },
    { 2, "the broker does not accept the client id" },
    { 3, "the broker is there but not serving" },
    { 4, "wrong user or password" },
    { 5, "not allowed: the broker wants a user and password, or another one" },
    { 0x80, "refused without a reason" },
    { 0x81, "the broker finds our packet malformed" },
    { 0x82, "the broker says we broke the protocol" },
    { 0x83, "the broker refuses for a reason of its own" },
    { 0x84, "the broker does not speak this version of MQTT: set broker.mqtt_version to 3" },
    { 0x85, "the broker does not accept the client id" },
    { 0x86, "wrong user or password" },
    { 0x87, "not allowed: the broker wants a user and password, or another one" },
    { 0x88, "the broker is there but not serving" },
    { 0x89, "the broker is busy" },
    { 0x8A, "the broker has banned this client" },
    { 0x8B, "the broker shuts down" },
    { 0x8C, "wrong way of authentication" },
    { 0x8D, "the broker heard nothing from us in time" },
    { MQTT_CODE_TAKEN_OVER,
      "another client connected with our client id: give each its own broker.client_id" },
    { 0x8F, "not a topic filter the broker accepts" },
    { 0x90, "not a topic the broker accepts" },
    { 0x93, "more unacknowledged messages than the broker allows" },
    { 0x95, "a packet larger than the broker allows" },
    { 0x97, "over the broker's quota" },
    { 0x98, "closed by the broker's administrator" },
    { 0x9A, "the broker does not keep retained messages" },
    { 0x9B, "the broker does not offer that quality of service" },
    { 0x9C, "the broker wants us to use another server" },
    { 0x9D, "the broker has moved to another server" },
    { 0x9F, "connecting too often" },
    { 0xA2, "the broker does not allow wildcards in subscriptions" },
};

const char *mqtt_words_of(int code)
{
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (table[i].code == code)
            return table[i].words;
    return "refused for a reason this program does not know";
}
