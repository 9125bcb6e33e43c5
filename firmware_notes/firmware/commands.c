#include "commands.h"

#include <string.h>

#include "line.h"
#include "measure.h"
#include "port.h"

#define PROTOCOL 1
#define FIRMWARE "1.0"
#define APART_CODES 960 /* bus H at or above this: more than some 1.5 Mohm between the two sets */
#define STOPPED 2       /* a new request has arrived in the middle of an answer */

static request_t request;     /* being answered */
static request_t waiting;     /* arrived meanwhile */
static uint8_t is_waiting;

/* ---- pieces of answers ---- */

static void answer(const char *kind) {
    line_begin(request.seq);
    line_word(kind);
}

static void error(const char *reason) {
    answer("error");
    line_word(reason);
    line_end();
}

/* IEC 60062 letter code, then a slash and the range: 4R702/1. */
static void put_reading(const reading_t *reading) {
    static const struct {
        uint16_t part;
        uint8_t places;
        char letter;
    } form[RANGES] = {{100, 2, 'L'}, {1000, 3, 'R'}, {100, 2, 'R'}, {1000, 3, 'K'}, {10, 1, 'K'}};
    if (reading->range >= SAME_RANGE) {
        line_char(reading->range == OVER_RANGE ? '>' : '=');
        return;
    }
    uint32_t value = (uint32_t)reading->value;
    if (reading->value < 0) {
        line_char('-');
        value = 0u - value;
    }
    uint16_t part = form[reading->range].part;
    line_digits(value / part, 1);
    line_char(form[reading->range].letter);
    line_digits(value % part, form[reading->range].places);
    line_char('/');
    line_digits(reading->range, 1);
}

static uint8_t number(uint8_t word, uint32_t low, uint32_t high, uint32_t *value) {
    return word >= request.words || parse_number(request.word[word], low, high, value);
}

/* A pin as people count, from 1; kept from 0. */
static uint8_t pin_word(uint8_t word, uint8_t *pin) {
    uint32_t value;
    if (number(word, 1, SCANNER_PINS, &value)) return 1;
    *pin = (uint8_t)(value - 1);
    return 0;
}

static uint8_t two_pins(uint8_t word, uint8_t *a, uint8_t *b) {
    return pin_word(word, a) || pin_word((uint8_t)(word + 1), b) || *a == *b;
}

/* True once another whole request is there: the answer in hand stops. Damaged lines do not stop it. */
static uint8_t interrupted(void) {
    if (!is_waiting) is_waiting = line_poll(&waiting) == LINE_REQUEST;
    return is_waiting;
}

/* ---- standing voltage ---- */

static void volts_at(uint8_t pin, uint8_t against, uint16_t mv) {
    line_number(pin + 1);
    line_number(against + 1);
    line_number(mv);
    line_end();
}

/* Refuses with the pin's name; nothing has been driven then. */
static uint8_t live(uint8_t pin, uint8_t against) {
    uint16_t mv = standing_voltage(pin, against);
    if (!mv) return 0;
    measure_release();
    answer("error");
    line_word("volts");
    volts_at(pin, against, mv);
    return 1;
}

/* A pin against all others, both ways round. 1: refused, 2: stopped. */
static uint8_t live_pin(uint8_t pin, uint8_t both) {
    for (uint8_t other = 0; other < SCANNER_PINS; other++) {
        if (other == pin) continue;
        if (live(other, pin) || (both && live(pin, other))) return 1;
        if (interrupted()) return STOPPED;
    }
    return 0;
}

static uint8_t live_anywhere(void) {
    for (uint8_t pin = 0; pin < SCANNER_PINS; pin++) {
        uint8_t found = live_pin(pin, 0);
        if (found) return found;
    }
    return 0;
}

/* ---- requests ---- */

static void who(void) {
    uint8_t known = 1;
    for (uint8_t i = FIRST_RANGE; i < RANGES; i++) known &= calibration.ppm[i] != 0;
    answer("who");
    line_number(PROTOCOL);
    line_word(FIRMWARE);
    line_number(SCANNER_PINS);
    line_word(SCANNER_SWITCHES ? "switches" : "plain");
    line_word(known ? "calibrated" : "uncalibrated");
    line_end();
}

static void ranges(void) {
    static const char *const upto[RANGES] = {"1R19 100000", "30R 2400", "10K 2400", "100K 450", "4M 50"};
    for (uint8_t i = FIRST_RANGE; i < RANGES; i++) {
        answer("range");
        line_number(i);
        line_word(upto[i]);
        line_end();
    }
    answer("end");
    line_number(RANGES - FIRST_RANGE);
    line_end();
}

static void self_test(void) {
    uint8_t bad[FORCE_BYTES], any = 0;
    if (live_anywhere()) return;
    memset(bad, 0, sizeof bad);
    for (uint8_t pin = 0; pin < SCANNER_PINS; pin++) {
        if (test_pin(pin)) {
            bad[pin >> 3] |= (uint8_t)(1u << (pin & 7));
            any = 1;
        }
    }
    uint16_t noise = test_noise();
    measure_baseline();
    answer("test");
    line_word(any || baseline_code > 30 || noise > 400 ? "bad" : "ok");
    line_number(baseline_code);
    line_number(noise);
    line_hex(bad);
    line_end();
    measure_release();
}

static void volts(void) {
    uint8_t found = live_anywhere();
    measure_release();
    if (found) return;
    answer("volts");
    line_word("none");
    line_end();
}

static void pair(void) {
    uint8_t a, b;
    reading_t there, back;
    if (request.words != 3 || two_pins(1, &a, &b)) {
        error("argument");
        return;
    }
    if (live(a, b) || live(b, a)) return;
    measure_baseline();
    measure_pair(a, b, 0, &there);
    measure_pair(b, a, 0, &back);
    measure_release();
    answer("pair");
    line_number(a + 1);
    line_number(b + 1);
    line_char(' ');
    put_reading(&there);
    line_char(' ');
    put_reading(&back);
    line_end();
}

/* One line: a pin against all others, or against those of a set. 2: stopped, with the line cut short. */
static uint8_t row_line(uint8_t pin, const uint8_t *among, uint8_t in_scan) {
    reading_t reading;
    answer("row");
    line_number(pin + 1);
    line_char(' ');
    for (uint8_t other = 0; other < SCANNER_PINS; other++) {
        if (other) line_char(',');
        if (other == pin || (among && !(among[other >> 3] >> (other & 7) & 1u))) {
            line_char('.');
            continue;
        }
        measure_pair(pin, other, in_scan && other < pin, &reading);
        put_reading(&reading);
        if (interrupted()) {
            port_send('\r');
            port_send('\n');
            return STOPPED;
        }
    }
    line_end();
    return 0;
}

static void row(void) {
    uint8_t pin, among[FORCE_BYTES];
    if (request.words < 2 || request.words > 3 || pin_word(1, &pin) ||
        (request.words == 3 && parse_hex_set(request.word[2], among))) {
        error("argument");
        return;
    }
    if (live_pin(pin, 1)) return;
    measure_baseline();
    row_line(pin, request.words == 3 ? among : 0, 0);
    measure_release();
}

static void scan(void) {
    uint32_t started = port_ms();
    if (live_anywhere()) return;
    measure_baseline();
    for (uint8_t pin = 0; pin < SCANNER_PINS; pin++) {
        if (row_line(pin, 0, 1)) {
            measure_release();
            return;
        }
    }
    measure_release();
    answer("end");
    line_number(SCANNER_PINS);
    line_number((int32_t)(port_ms() - started));
    line_end();
}

#if SCANNER_SWITCHES
static void parallel(void) {
    uint8_t high[FORCE_BYTES], found[FORCE_BYTES];
    if (request.words != 2 || parse_hex_set(request.word[1], high)) {
        error("argument");
        return;
    }
    if (live_anywhere()) return;
    if (request.word[0][0] == 'a') {
        uint16_t code = parallel_apart(high);
        answer("apart");
        line_hex(high);
        line_word(code >= APART_CODES ? "yes" : "no");
        line_number(code);
    } else {
        parallel_reach(high, found);
        answer("reach");
        line_hex(high);
        line_hex(found);
    }
    line_end();
}
#endif

/* ---- calibration ---- */

static void cal_show(void) {
    for (uint8_t i = FIRST_RANGE; i < RANGES; i++) {
        answer("cal");
        line_number(i);
        line_char(' ');
        line_digits(calibration.scale[i], 1);
        line_number(i < 2 ? calibration.zero[i] : 0);
        line_number(calibration.ppm[i]);
        line_end();
    }
    answer("end");
    line_number(RANGES - FIRST_RANGE);
    line_end();
}

/* The mean of eight; 1 when the range cannot hold it or a voltage stands there. */
static uint8_t mean_in(uint8_t range, uint8_t a, uint8_t b, int32_t *mean) {
    int64_t sum = 0;
    measure_baseline();
    for (uint8_t i = 0; i < 8; i++) {
        int32_t value;
        if (measure_in(range, a, b, &value)) return 1;
        sum += value;
    }
    *mean = (int32_t)((sum + (sum < 0 ? -4 : 4)) / 8);
    return 0;
}

/* cal set RANGE VALUE PPM A B: VALUE in units of the range, between pins A and B. */
static void cal_set(void) {
    uint32_t range, known, ppm;
    uint8_t a, b;
    int32_t mean;
    if (request.words != 7 || number(2, FIRST_RANGE, RANGES - 1, &range) || number(3, 1, 100000000ul, &known) ||
        number(4, 1, 65535u, &ppm) || two_pins(5, &a, &b)) {
        error("argument");
        return;
    }
    if (live(a, b) || live(b, a)) return;
    if (mean_in((uint8_t)range, a, b, &mean) || mean <= 0) {
        error("cannot");
        return;
    }
    /* scale * known / (mean + zero taken back): the zero was already subtracted, and stays. */
    uint64_t scale = ((uint64_t)calibration.scale[range] * known + (uint32_t)mean / 2) / (uint32_t)mean;
    uint32_t nominal = calibration.scale[range];
    if (scale < nominal / 2 || scale > 2 * (uint64_t)nominal) { /* not this resistor, or not this range */
        error("cannot");
        return;
    }
    calibration.scale[range] = (uint32_t)scale;
    calibration.ppm[range] = (uint16_t)ppm;
    calibration_save();
    cal_show();
}

/* cal zero A B: a thick short between the two pins. */
static void cal_zero(void) {
    uint8_t a, b;
    if (request.words != 4 || two_pins(2, &a, &b)) {
        error("argument");
        return;
    }
    if (live(a, b) || live(b, a)) return;
    for (uint8_t range = FIRST_RANGE; range <= RANGE_1K_AMPLIFIED; range++) {
        int32_t mean;
        if (mean_in(range, a, b, &mean)) {
            error("cannot");
            return;
        }
        mean += calibration.zero[range];
        if (mean < -2000 || mean > 2000) { /* 20 milliohm, 2 ohm: no short */
            error("cannot");
            return;
        }
        calibration.zero[range] = (int16_t)mean;
    }
    calibration_save();
    cal_show();
}

static void cal(void) {
    if (request.words == 1) {
        cal_show();
    } else if (!strcmp(request.word[1], "set")) {
        cal_set();
    } else if (!strcmp(request.word[1], "zero")) {
        cal_zero();
    } else if (!strcmp(request.word[1], "clear") && request.words == 2) {
        calibration_default();
        calibration_save();
        cal_show();
    } else {
        error("argument");
    }
}

static void stop(void) {
    answer("stop");
    line_end();
}

/* ---- dispatch ---- */

static const struct {
    char verb[6];
    uint8_t alone; /* takes no further word */
    void (*act)(void);
} verbs[] = {{"who", 1, who}, {"range", 1, ranges}, {"test", 1, self_test}, {"volts", 1, volts},
             {"pair", 0, pair}, {"row", 0, row}, {"scan", 1, scan}, {"cal", 0, cal}, {"stop", 1, stop},
#if SCANNER_SWITCHES
             {"apart", 0, parallel}, {"reach", 0, parallel},
#endif
};

static void dispatch(void) {
    for (uint8_t i = 0; i < sizeof verbs / sizeof verbs[0]; i++) {
        if (strcmp(request.word[0], verbs[i].verb)) continue;
        if (verbs[i].alone && request.words != 1) {
            error("argument");
        } else {
            verbs[i].act();
        }
        return;
    }
    error("unknown");
}

void commands_start(void) {
    calibration_load();
    measure_release();
    request.seq = SEQ_BY_HAND;
    answer("boot");
    line_number(PROTOCOL);
    line_number(SCANNER_PINS);
    line_end();
}

void commands_step(void) {
    if (is_waiting) {
        request = waiting;
        is_waiting = 0;
        dispatch();
        return;
    }
    switch (line_poll(&request)) {
        case LINE_REQUEST:
            dispatch();
            break;
        case LINE_DAMAGED:
            request.seq = SEQ_BY_HAND;
            error("damaged");
            break;
        default:
            port_idle();
    }
}
