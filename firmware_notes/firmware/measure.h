/* Resistance between two pins, standing voltages, parallel tests. Pins count from 0 here. */
#ifndef SCANNER_MEASURE_H
#define SCANNER_MEASURE_H

#include <stdint.h>

#include "port.h"

/* Ranges, from the constant current to the largest reference; each counts in its own unit. */
enum { RANGE_MILLIOHM, RANGE_1K_AMPLIFIED, RANGE_1K, RANGE_10K, RANGE_100K, RANGES };
#define FIRST_RANGE (SCANNER_SWITCHES ? RANGE_MILLIOHM : RANGE_1K_AMPLIFIED)
#define OVER_RANGE 0xFF
#define SAME_RANGE 0xFE /* a milliohm pair that was measured, both ways, from the other pin */

typedef struct {
    uint8_t range; /* or OVER_RANGE, SAME_RANGE */
    int32_t value; /* in units of the range: 10 microohm, 1 milliohm, 10 milliohm, 1 ohm, 100 ohm */
} reading_t;

/* Kept with a checksum: units per unit ratio in 1/256, zero offsets, and what the calibration is worth. */
typedef struct {
    uint32_t scale[RANGES];
    int16_t zero[2];
    uint16_t ppm[RANGES]; /* standard uncertainty of the scale; 0: never calibrated */
} calibration_t;

extern calibration_t calibration;

void calibration_load(void);    /* defaults when the stored one fails its checksum */
void calibration_save(void);
void calibration_default(void);

void measure_release(void);     /* every plane, switch, source and reference off */
void measure_baseline(void);    /* bus L with nothing connected, the amplifier with nothing across it */
extern uint16_t baseline_code;

/* mirrored: the pair has been measured from the other pin in this scan, milliohms need no second time. */
void measure_pair(uint8_t from, uint8_t to, uint8_t mirrored, reading_t *reading);
/* The plain value of one range, whatever the resistance: for calibration. 0 when it can be used. */
uint8_t measure_in(uint8_t range, uint8_t from, uint8_t to, int32_t *value);

/* A voltage that stands between two pins, in millivolts, or 0. Drives nothing above ground. */
uint16_t standing_voltage(uint8_t pin, uint8_t against);

/* Self-test of one pin's path through all four planes: 0 when right. */
uint8_t test_pin(uint8_t pin);
/* Noise of the amplified channel in hundredths of a code. */
uint16_t test_noise(void);

#if SCANNER_SWITCHES
/* Drives `high` against every other pin at once; the code of bus H (1023: nothing flows). */
uint16_t parallel_apart(const uint8_t *high);
/* Feeds `high` and finds which pins follow, themselves included: those joined by less than some 80 ohm. */
void parallel_reach(const uint8_t *high, uint8_t *found);
#endif

#endif
