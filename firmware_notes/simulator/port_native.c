/* The firmware's core on a host, against the simulated board: for the sanitizers and for fuzzing.
 * Requests come on standard input, answers leave on standard output. Time is virtual.
 * It cannot stand in for the chip (an int has 32 bits here): every end-to-end claim is made with board_avr.c. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../firmware/commands.h"
#include "../firmware/port.h"
#include "board.h"

static board the_board;
static board_state state;
static double now_s;
static uint8_t store[64]; /* the chip's EEPROM; with a third argument it is kept in that file */
static const char *store_file;

static void changed(double took_us) {
    now_s += took_us * 1e-6;
    board_set(&the_board, &state, now_s);
}

void port_planes(uint8_t force_plus, uint8_t force_minus, uint8_t sense_plus, uint8_t sense_minus) {
    state.plane[FORCE_PLUS] = force_plus;
    state.plane[FORCE_MINUS] = force_minus;
    state.plane[SENSE_PLUS] = sense_plus;
    state.plane[SENSE_MINUS] = sense_minus;
    changed(7);
}

void port_reference(uint8_t references) {
    state.references = references;
    changed(1);
}

void port_drive(uint8_t drive) {
    state.drive = drive;
    changed(1);
}

void port_source(uint8_t source) {
    state.source = source;
    changed(1);
}

void port_switches(const uint8_t *high, const uint8_t *low) {
    memset(state.high, 0, sizeof state.high);
    memset(state.low, 0, sizeof state.low);
    if (high) memcpy(state.high, high, FORCE_BYTES);
    if (low) memcpy(state.low, low, FORCE_BYTES);
    changed(30);
}

uint16_t port_convert(uint8_t channel, uint8_t quick) {
    int code = board_code(&the_board, channel, quick, now_s);
    now_s += quick ? 28e-6 : 106e-6;
    return (uint16_t)code;
}

void port_wait_us(uint16_t us) { now_s += us * 1e-6; }

uint32_t port_ms(void) { return (uint32_t)(now_s * 1e3); }

void port_send(uint8_t byte) { putchar(byte); }

/* One byte of look-ahead keeps the firmware from waiting in the middle of an answer. */
static int held = -1;

int16_t port_receive(void) {
    int byte = held;
    held = -1;
    return (int16_t)byte;
}

void port_idle(void) {
    fflush(stdout);
    held = getchar();
    if (held == EOF) exit(0);
}

void port_store(uint8_t address, uint8_t byte) {
    store[address % sizeof store] = byte;
    FILE *file = store_file ? fopen(store_file, "wb") : NULL;
    if (file) {
        fwrite(store, 1, sizeof store, file);
        fclose(file);
    }
}

uint8_t port_fetch(uint8_t address) { return store[address % sizeof store]; }

int main(int argc, char **argv) {
    if (argc < 2) {
        fprintf(stderr, "usage: %s NETWORK [STORE]\n", argv[0]);
        return 2;
    }
    memset(store, 0xFF, sizeof store);
    store_file = argc > 2 ? argv[2] : NULL;
    FILE *kept = store_file ? fopen(store_file, "rb") : NULL;
    if (kept) {
        if (fread(store, 1, sizeof store, kept) != sizeof store) return 2;
        fclose(kept);
    }
    int bad = board_load(&the_board, argv[1], SCANNER_PINS);
    if (bad) {
        fprintf(stderr, "%s: line %d cannot be used\n", argv[1], bad);
        return 2;
    }
    commands_start();
    for (;;) commands_step();
}
