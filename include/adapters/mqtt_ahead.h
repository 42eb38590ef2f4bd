/* Fewer calls of the kernel for the library's receiving thread. For each message it asks twice whether its
 * socket is ready and reads three times: a byte, the length, the rest. Here its recv() and poll() are
 * answered from what was read ahead, as long as that lasts, then by the kernel. The library is not changed
 * and need not know: both names are defined in the program and so come before those of the C library. Where
 * that does not hold, or the library goes another way (TLS does), everything works, only slower. Any thread
 * may ask; the sockets must not block. */
#ifndef LENTIC_ADAPTERS_MQTT_AHEAD_H
#define LENTIC_ADAPTERS_MQTT_AHEAD_H

/* From now on the socket is read ahead of what is asked for. Nothing may be left unread of a read before. */
void mqtt_ahead_begin(int fd);

/* What was read already is still handed out, unless the descriptor is another's by then. */
void mqtt_ahead_end(int fd);

#endif
