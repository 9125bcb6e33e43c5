/* The scanner's analogue side and the loom on it, solved as one network. Shared by the cycle-accurate
 * host (board_avr.c) and the host build of the firmware (port_native.c); loomtest/bench/scanner_copper.py
 * is the same model in Python, and tests hold the three equal. */
#ifndef SCANNER_BOARD_H
#define SCANNER_BOARD_H

#include <stdint.h>

#define BOARD_PINS 128
#define BOARD_EXTRA 64 /* sources and diodes in the loom */
#define BOARD_NODES (BOARD_PINS + 2 * BOARD_EXTRA) /* pins, then inner nodes at which such a one ends */

enum { FORCE_PLUS, FORCE_MINUS, SENSE_PLUS, SENSE_MINUS, PLANES };

/* What the firmware has set. */
typedef struct {
    uint8_t plane[PLANES]; /* 0x80 | pin, or 0 */
    uint8_t references;    /* bit 0: 1 k, bit 1: 10 k, bit 2: 100 k */
    uint8_t drive;         /* 0 open, 1 low, 2 high */
    uint8_t source;        /* 0 off, 1 constant current, 2 feed */
    uint8_t high[BOARD_PINS / 8], low[BOARD_PINS / 8];
} board_state;

/* Component values of this one board; board_load overrides them by name. */
typedef struct {
    double ref_1k, ref_10k, ref_100k, shunt, gain, current, amp_offset, noise, inl, leak, mux_off, mux_on, mux_spread, capacitance, seed;
} board_parts;

typedef struct {
    int a, b; /* node, or -1 for ground */
    double ohms, volts;
    int diode;
} board_extra;

typedef struct {
    int pins, kept, extras;
    board_parts parts;
    board_extra extra[BOARD_EXTRA];
    double *z;    /* kept x kept: volts at one node per ampere into another, harness and leakage alone */
    double *z1;   /* sums of z over the pins */
    double dc[BOARD_NODES], offset[BOARD_NODES], tau[BOARD_NODES]; /* v(t) = dc + offset exp(-(t - since)/tau) */
    double since;
    double bus_l, shunt_v, bus_h;
    board_state state;
    uint64_t conversions;
} board;

/* 0, or the number of the line that could not be read. */
int board_load(board *b, const char *path, int pins);
void board_set(board *b, const board_state *state, double t_s);
/* The converter's code of one channel (port.h) at a time; quick conversions are a little noisier. */
int board_code(board *b, int channel, int quick, double t_s);

#endif
