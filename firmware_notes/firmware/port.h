/* What the core asks of the chip, and nothing more: the core includes no chip header.
 * port_avr.c answers for the real chips, ../simulator/port_native.c for a host build. */
#ifndef SCANNER_PORT_H
#define SCANNER_PORT_H

#include <stdint.h>

#ifndef SCANNER_PINS
#define SCANNER_PINS 64 /* 16, 64 or 128 */
#endif
#ifndef SCANNER_SWITCHES
#define SCANNER_SWITCHES 1 /* 1: a transistor pair for every pin (milliohms, parallel tests) */
#endif

#define FORCE_BYTES (SCANNER_PINS / 8)

/* A multiplexer plane: 0 is off, PLANE_ON | pin (counted from 0) selects one pin. */
#define PLANE_ON 0x80u

/* Converter channels: bus L, sense plus, sense minus, amplified difference, shunt, bus H. */
enum { CHANNEL_L, CHANNEL_P, CHANNEL_N, CHANNEL_D, CHANNEL_I, CHANNEL_H };

/* Reference resistors from bus L to ground, switched by driving a chip pin low. */
enum { REF_NONE = 0, REF_1K = 1, REF_10K = 2, REF_100K = 4, REF_ALL = 7 };

/* The common of the force-plus plane. */
enum { DRIVE_OPEN, DRIVE_LOW, DRIVE_HIGH };

/* What feeds bus H, the supply of the high-side transistor switches. */
enum { SOURCE_OFF, SOURCE_100MA, SOURCE_FEED };

void port_planes(uint8_t force_plus, uint8_t force_minus, uint8_t sense_plus, uint8_t sense_minus);
void port_reference(uint8_t references);
void port_drive(uint8_t drive);
void port_source(uint8_t source);
/* FORCE_BYTES bytes each, pin 0 in bit 0 of byte 0; a null pointer is all off. */
void port_switches(const uint8_t *high, const uint8_t *low);
/* One conversion, 0..1023 over the supply; quick trades accuracy for time (screening only). */
uint16_t port_convert(uint8_t channel, uint8_t quick);
void port_wait_us(uint16_t us);
uint32_t port_ms(void);
void port_send(uint8_t byte);
int16_t port_receive(void); /* -1: nothing there */
void port_idle(void);       /* rest until something happens */
void port_store(uint8_t address, uint8_t byte);
uint8_t port_fetch(uint8_t address);

#endif
