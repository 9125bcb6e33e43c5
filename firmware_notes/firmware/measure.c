#include "measure.h"

#include <stddef.h>
#include <string.h>

#include "line.h"

calibration_t calibration;
uint16_t baseline_code;
static uint16_t amplifier_zero; /* sum of 2 * SAMPLES codes of the amplified channel with nothing across it */

#define SAMPLES 8  /* of each polarity in the milliohm range */
#define QUICK 4    /* of each channel in the divider ranges: parts and leaks need no more, a scan needs the time */
#define FULL_SCALE 1000 /* an amplified code above this is clipped */
#define SCREEN_US 200   /* see protocol.md: 4 Mohm with 3 nF is still seen */
#define SCREEN_CODES 8
#define OVER_CODES 22   /* below this in the 100 k range: more than 4 Mohm */
#define STANDING_CODES 30

/* ---- calibration ---- */

#define RECORD_MARK 0xA6 /* changes with the layout of calibration_t */

void calibration_default(void) {
    /* shunt 20 ohm / gain 40; 1 kohm / gain 40; then the references themselves: see the units */
    calibration.scale[RANGE_MILLIOHM] = 50000ul * 256;
    calibration.scale[RANGE_1K_AMPLIFIED] = 25000ul * 256;
    calibration.scale[RANGE_1K] = 100000ul * 256;
    calibration.scale[RANGE_10K] = 10000ul * 256;
    calibration.scale[RANGE_100K] = 1000ul * 256;
    for (uint8_t i = 0; i < RANGES; i++) calibration.ppm[i] = 0;
    calibration.zero[0] = calibration.zero[1] = 0;
}

/* Written out field by field, so that no compiler's padding or byte order enters the record. */
static uint8_t record_at;
static uint16_t record_crc;

static void store_bytes(uint32_t value, uint8_t bytes) {
    while (bytes--) {
        port_store(record_at++, (uint8_t)value);
        record_crc = crc_add(record_crc, (uint8_t)value);
        value >>= 8;
    }
}

static uint32_t fetch_bytes(uint8_t bytes) {
    uint32_t value = 0;
    for (uint8_t i = 0; i < bytes; i++) {
        uint8_t byte = port_fetch(record_at++);
        record_crc = crc_add(record_crc, byte);
        value |= (uint32_t)byte << (8 * i);
    }
    return value;
}

void calibration_save(void) {
    record_at = 0;
    record_crc = CRC_START;
    store_bytes(RECORD_MARK, 1);
    for (uint8_t i = 0; i < RANGES; i++) store_bytes(calibration.scale[i], 4);
    for (uint8_t i = 0; i < 2; i++) store_bytes((uint16_t)calibration.zero[i], 2);
    for (uint8_t i = 0; i < RANGES; i++) store_bytes(calibration.ppm[i], 2);
    uint16_t crc = record_crc;
    store_bytes(crc, 2);
}

void calibration_load(void) {
    record_at = 0;
    record_crc = CRC_START;
    uint8_t mark = (uint8_t)fetch_bytes(1);
    for (uint8_t i = 0; i < RANGES; i++) calibration.scale[i] = fetch_bytes(4);
    for (uint8_t i = 0; i < 2; i++) calibration.zero[i] = (int16_t)(uint16_t)fetch_bytes(2);
    for (uint8_t i = 0; i < RANGES; i++) calibration.ppm[i] = (uint16_t)fetch_bytes(2);
    uint16_t crc = record_crc;
    if (mark != RECORD_MARK || fetch_bytes(2) != crc) calibration_default();
}

/* ---- one pair ---- */

static void planes(uint8_t from, uint8_t to) {
    uint8_t a = (uint8_t)(PLANE_ON | from), b = (uint8_t)(PLANE_ON | to);
    port_planes(a, b, a, b);
}

void measure_release(void) {
    port_source(SOURCE_OFF);
    port_drive(DRIVE_OPEN);
    port_reference(REF_NONE);
    port_switches(NULL, NULL);
    port_planes(0, 0, 0, 0);
}

static uint16_t sum_of(uint8_t channel, uint8_t samples) {
    uint16_t sum = 0; /* at most 64 * 1023 */
    while (samples--) sum = (uint16_t)(sum + port_convert(channel, 0));
    return sum;
}

/* scale * num / den, rounded half away from zero; 64 bits, because scale * num passes 2^32. */
static int32_t scaled(uint32_t scale, int32_t num, int32_t den) {
    if (den <= 0) return INT32_MAX;
    uint64_t d = (uint64_t)(uint32_t)den * 256u;
    uint64_t t = (uint64_t)scale * (uint32_t)(num < 0 ? -num : num);
    t = (t + d / 2) / d;
    if (t > INT32_MAX) t = INT32_MAX;
    return num < 0 ? -(int32_t)t : (int32_t)t;
}

void measure_baseline(void) {
    measure_release();
    port_reference(REF_100K);
    port_wait_us(500);
    baseline_code = (uint16_t)((sum_of(CHANNEL_L, SAMPLES) + SAMPLES / 2) / SAMPLES);
    port_planes(0, PLANE_ON, PLANE_ON, PLANE_ON); /* both sense planes on one pin, held at ground */
    port_reference(REF_1K);
    port_wait_us(200);
    amplifier_zero = (uint16_t)((sum_of(CHANNEL_D, 4 * SAMPLES) + 1u) / 2u);
    measure_release();
}

/* A divider of one reference, with the planes set and driven high. */
static int32_t divider(uint8_t range) {
    int32_t p = sum_of(CHANNEL_P, QUICK), n = sum_of(CHANNEL_N, QUICK), l = sum_of(CHANNEL_L, QUICK);
    if (range == RANGE_100K) l -= (int32_t)(baseline_code * QUICK);
    return scaled(calibration.scale[range], p - n, l);
}

/* The amplified difference over the 1 kohm reference; INT32_MAX when the amplifier clips. */
static int32_t amplified(void) {
    int32_t on = sum_of(CHANNEL_D, QUICK), l = sum_of(CHANNEL_L, QUICK);
    if (on > (int32_t)FULL_SCALE * QUICK) return INT32_MAX;
    return scaled(calibration.scale[RANGE_1K_AMPLIFIED], 4 * on - (int32_t)amplifier_zero, 4 * l) - calibration.zero[1];
}

#if SCANNER_SWITCHES
static void one_bit(uint8_t *set, uint8_t pin) {
    memset(set, 0, FORCE_BYTES);
    set[pin >> 3] = (uint8_t)(1u << (pin & 7));
}

/* 100 mA through the transistor switches of the two pins; the multiplexers only sense. */
static void force(uint8_t from, uint8_t to, int32_t *across, int32_t *current) {
    uint8_t high[FORCE_BYTES], low[FORCE_BYTES];
    one_bit(high, from);
    one_bit(low, to);
    port_planes(0, 0, (uint8_t)(PLANE_ON | from), (uint8_t)(PLANE_ON | to));
    port_switches(high, low);
    port_source(SOURCE_100MA);
    port_wait_us(100);
    *across += sum_of(CHANNEL_D, SAMPLES);
    *current += sum_of(CHANNEL_I, SAMPLES / 2);
    port_source(SOURCE_OFF);
}

/* One way and the other: a thermoelectric voltage in the path falls out of the sum. */
static int32_t milliohm(uint8_t from, uint8_t to) {
    int32_t across = 0, current = 0;
    port_drive(DRIVE_OPEN);
    port_reference(REF_NONE);
    force(from, to, &across, &current);
    force(to, from, &across, &current);
    port_switches(NULL, NULL);
    if (across > 2 * (int32_t)FULL_SCALE * SAMPLES) return INT32_MAX;
    return scaled(calibration.scale[RANGE_MILLIOHM], across - (int32_t)amplifier_zero, 2 * current) - calibration.zero[0];
}
#endif

/* From high to low with the 100 kohm reference: the code of bus L soon after. Both pins start from ground. */
static uint16_t screen(uint8_t from, uint8_t to) {
    planes(from, to);
    port_drive(DRIVE_HIGH);
    port_reference(REF_ALL);
    port_wait_us(20);
    port_reference(REF_100K);
    port_wait_us(SCREEN_US);
    return port_convert(CHANNEL_L, 1);
}

static void reading_of(reading_t *reading, uint8_t range, int32_t value) {
    reading->range = range;
    reading->value = value;
}

/* 1 kohm and below, the planes already driven with REF_1K. */
static void measure_low(uint8_t from, uint8_t to, uint8_t mirrored, reading_t *reading) {
    uint16_t p = port_convert(CHANNEL_P, 0), n = port_convert(CHANNEL_N, 0);
    if (p <= n + 14u) { /* some 30 ohm at 2.4 mA */
#if SCANNER_SWITCHES
        if (port_convert(CHANNEL_D, 0) <= 45) { /* some 1.2 ohm, its pedestal included */
            if (mirrored) { /* both ways were measured in the other pin's row */
                reading_of(reading, SAME_RANGE, 0);
                return;
            }
            int32_t value = milliohm(from, to);
            if (value != INT32_MAX) {
                reading_of(reading, RANGE_MILLIOHM, value);
                return;
            }
            planes(from, to);
            port_reference(REF_1K);
            port_drive(DRIVE_HIGH);
            port_wait_us(50);
        }
#endif
        int32_t value = amplified();
        if (value != INT32_MAX) {
            reading_of(reading, RANGE_1K_AMPLIFIED, value);
            return;
        }
    }
    (void)from;
    (void)to;
    (void)mirrored;
    reading_of(reading, RANGE_1K, divider(RANGE_1K));
}

void measure_pair(uint8_t from, uint8_t to, uint8_t mirrored, reading_t *reading) {
    reading_of(reading, OVER_RANGE, 0);
    uint16_t code = screen(from, to);
    if (code < baseline_code + SCREEN_CODES) return;
    if (code < 512) { /* a large resistance, or a large capacitance: let it settle */
        port_wait_us(2000);
        code = port_convert(CHANNEL_L, 0);
        if (code < 512) {
            uint16_t settled = (uint16_t)(sum_of(CHANNEL_L, SAMPLES) / SAMPLES);
            if (settled >= baseline_code + OVER_CODES) reading_of(reading, RANGE_100K, divider(RANGE_100K));
            return;
        }
    }
    port_reference(REF_10K);
    port_wait_us(150);
    if (port_convert(CHANNEL_L, 0) < 512) {
        reading_of(reading, RANGE_10K, divider(RANGE_10K));
        return;
    }
    port_reference(REF_1K);
    port_wait_us(50);
    measure_low(from, to, mirrored, reading);
}

uint8_t measure_in(uint8_t range, uint8_t from, uint8_t to, int32_t *value) {
    static const uint8_t reference[RANGES] = {REF_NONE, REF_1K, REF_1K, REF_10K, REF_100K};
    planes(from, to);
    port_reference(reference[range]);
    port_drive(DRIVE_HIGH);
    port_wait_us(3000);
    if (range == RANGE_1K_AMPLIFIED) {
        *value = amplified();
#if SCANNER_SWITCHES
    } else if (range == RANGE_MILLIOHM) {
        *value = milliohm(from, to);
#endif
    } else {
        *value = divider(range);
    }
    measure_release();
    return *value == INT32_MAX;
}

/* ---- standing voltage ---- */

uint16_t standing_voltage(uint8_t pin, uint8_t against) {
    uint8_t on = (uint8_t)(PLANE_ON | pin);
    port_planes(on, (uint8_t)(PLANE_ON | against), on, 0);
    port_reference(REF_ALL);
    port_drive(DRIVE_LOW); /* takes away what an earlier test left on the pin */
    port_wait_us(15);
    port_drive(DRIVE_OPEN);
    port_wait_us(20);
    uint16_t code = port_convert(CHANNEL_P, 1);
    if (code < STANDING_CODES) return 0;
    port_drive(DRIVE_LOW); /* again and slowly, before anyone is refused */
    port_wait_us(2000);
    port_drive(DRIVE_OPEN);
    port_wait_us(1000);
    code = port_convert(CHANNEL_P, 0);
    if (code < STANDING_CODES) return 0;
    return (uint16_t)((uint32_t)code * 5000u / 1024u);
}

/* ---- self-test ---- */

uint8_t test_pin(uint8_t pin) {
    uint8_t on = (uint8_t)(PLANE_ON | pin);
    port_planes(on, on, on, on);
    port_reference(REF_1K);
    port_drive(DRIVE_HIGH);
    port_wait_us(200);
    uint16_t p = port_convert(CHANNEL_P, 0), n = port_convert(CHANNEL_N, 0), l = port_convert(CHANNEL_L, 0);
    port_drive(DRIVE_LOW);
    port_wait_us(200);
    uint16_t p_low = port_convert(CHANNEL_P, 0), n_low = port_convert(CHANNEL_N, 0);
    /* nominal: 5 V over 470 + 70, 70 + 470 and 1000 ohm; a dead switch or sense path is far outside */
    return p < 650 || p > 850 || n < 650 || n > 850 || l < 400 || l > 600 || p_low > 20 || n_low > 20;
}

uint16_t test_noise(void) {
    /* Both sense planes on one pin, held at ground: what is left is the amplifier's and the converter's. */
    port_planes(PLANE_ON, PLANE_ON, PLANE_ON, PLANE_ON);
    port_reference(REF_1K);
    port_drive(DRIVE_LOW);
    port_wait_us(500);
    uint32_t sum = 0, squares = 0;
    for (uint8_t i = 0; i < 64; i++) {
        uint16_t code = port_convert(CHANNEL_D, 0);
        sum += code;
        squares += (uint32_t)code * code;
    }
    /* 64 * 63 * variance * 10^4, then its root: 64 * sqrt(63/64) is within 1 % of 64 */
    uint64_t spread = (64u * (uint64_t)squares - (uint64_t)sum * sum) * 10000u / (64u * 63u);
    uint16_t root = 0;
    for (uint16_t bit = 0x4000; bit; bit >>= 1) {
        uint16_t trial = (uint16_t)(root | bit);
        if ((uint32_t)trial * trial <= spread) root = trial;
    }
    return root;
}

/* ---- many pins at once ---- */

#if SCANNER_SWITCHES
static void ground_all(void) {
    uint8_t all[FORCE_BYTES];
    memset(all, 0xFF, sizeof all);
    measure_release();
    port_switches(NULL, all);
    port_wait_us(1000);
}

uint16_t parallel_apart(const uint8_t *high) {
    uint8_t low[FORCE_BYTES];
    for (uint8_t i = 0; i < FORCE_BYTES; i++) low[i] = (uint8_t)~high[i];
    ground_all();
    port_switches(high, low);
    port_source(SOURCE_FEED);
    for (uint8_t i = 0; i < 3u * SCANNER_PINS / 16u; i++) port_wait_us(5000); /* 100 kohm, 1 nF a pin: ten time constants */
    uint16_t code = (uint16_t)(sum_of(CHANNEL_H, SAMPLES) / SAMPLES);
    measure_release();
    return code;
}

/* The voltage of one pin while the reference draws current from it. */
static uint16_t loaded(uint8_t pin) {
    uint8_t on = (uint8_t)(PLANE_ON | pin);
    port_planes(0, on, on, 0);
    port_wait_us(50);
    return port_convert(CHANNEL_P, 0);
}

void parallel_reach(const uint8_t *high, uint8_t *found) {
    uint8_t first = 0;
    memset(found, 0, FORCE_BYTES);
    while (first < SCANNER_PINS && !(high[first >> 3] >> (first & 7) & 1)) first++;
    if (first == SCANNER_PINS) return;
    ground_all();
    port_switches(high, NULL);
    port_source(SOURCE_100MA); /* nothing is held at ground: only the 1 kohm reference below draws current */
    port_reference(REF_1K);
    port_wait_us(1000);
    uint32_t fed = loaded(first);
    for (uint8_t pin = 0; pin < SCANNER_PINS; pin++) {
        /* 81 ohm in series with the load of some 1.54 kohm leave 95 % of what a fed pin shows */
        if (100u * (uint32_t)loaded(pin) >= 95u * fed) found[pin >> 3] |= (uint8_t)(1u << (pin & 7));
    }
    measure_release();
}
#endif
