#include "cli/reach.h"

#include <math.h>
#include <string.h>

#include "base/number.h"

int reach_parse(const struct options *o, const char *option, const char *text, struct broker_settings *broker,
                char *host)
{
    const char *colon = text != NULL ? strrchr(text, ':') : NULL;
    double port = broker->port > 0 ? broker->port : 1883;
    if (text == NULL)
        return OPTIONS_GO_ON;
    size_t n = colon != NULL ? (size_t)(colon - text) : strlen(text);
    bool ok = n > 0 && n < REACH_HOST_MAX;
    if (ok && colon != NULL)
        ok = number_parse(colon + 1, strlen(colon + 1), NUMBER_PLAIN, &port) == STATUS_OK && port >= 1 &&
             port <= 65535 && port == floor(port);
    if (!ok)
        return options_fail(o, 2, "%s takes HOST:PORT, not \"%.60s\"", option, text);
    memcpy(host, text, n);
    host[n] = '\0';
    broker->host = host;
    broker->port = (int)port;
    return OPTIONS_GO_ON;
}
