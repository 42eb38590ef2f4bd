/* The keeper's week as JSON. Steps and values carry the decimals of their quantity and one more; what is not
 * known is null. */
#ifndef LENTIC_WIRE_ENCODE_WEEK_H
#define LENTIC_WIRE_ENCODE_WEEK_H

#include "base/text.h"
#include "model/week.h"

/* Member "plan" of BASE/tank/ID:
 * {"t","days","last_change","changes":[{"at","litres","share","water","reason","limited_by":"need"|"share"|a
 * quantity,"why","steps":{"ec","gh","kh","no3","temp"},"after":{as steps},"water_temp","bring"}],"later",
 * "topoff":{"l_day","from"},"reservoir":{"holds_l","lasts_d","filled","empty"}|null,
 * "tests":[{"quantity","last","due"}],"remarks":[{"kind","text"}]} */
void encode_week_tank(const struct site *site, const struct week_tank *w, struct text *out);

/* BASE/plan:
 * {"v":1,"t","days","feasible","waters":[{"water","litres","tanks","first","salts":[{"salt","grams"}],"ec","ec_sd",
 * "gh","kh","text": why it cannot be mixed|null}],"salts":[{"salt","grams","left_g","used_g","per_day_g",
 * "by_batches","out","short"}],"sources":[{"source","mix_l","topoff_l","unknown_topoffs","gives_l","short_l","short_at"}],
 * "calibrations":[{"probe","place","quantity","last","due","new"}],"never_calibrated","remarks":[as above]}
 */
void encode_week_room(const struct site *site, const struct week_room *w, struct text *out);

#endif
