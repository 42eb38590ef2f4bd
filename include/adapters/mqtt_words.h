/* What a broker's refusal means, in plain words with the cure where there is one. */
#ifndef LENTIC_ADAPTERS_MQTT_WORDS_H
#define LENTIC_ADAPTERS_MQTT_WORDS_H

#define MQTT_CODE_TAKEN_OVER 0x8E

/* Return code of a CONNACK of MQTT 3.1.1 (1..5), or a reason code of MQTT 5 (0x80 and up; OASIS
 * MQTT 5.0, 2.4) in a CONNACK, SUBACK or DISCONNECT. Never NULL. */
const char *mqtt_words_of(int code);

#endif
