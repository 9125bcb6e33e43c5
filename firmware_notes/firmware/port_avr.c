/* ATmega328P and ATmega2560 at 16 MHz, bare avr-libc. Pin tables: ../pins.md. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stddef.h>
#include <util/delay.h>

#include "commands.h"
#include "port.h"

#if defined(__AVR_ATmega328P__)
#define SPI_DDR DDRB
#define SPI_OUTPUTS (_BV(PB2) | _BV(PB1) | _BV(PB0) | _BV(PB3) | _BV(PB5))
#define LATCH_PORT PORTB
#define LATCH_PLANES PB2
#define LATCH_SWITCHES PB1
#define SWITCHES_OFF PB0
#define ANALOG_PORT PORTD
#define ANALOG_DDR DDRD
#define BIT_SOURCE PD2
#define BIT_FEED PD3
#define BIT_DRIVE PD4
#define BIT_REF 5 /* PD5, PD6, PD7: 1 k, 10 k, 100 k */
#define RX_VECTOR USART_RX_vect
#define TX_VECTOR USART_UDRE_vect
#elif defined(__AVR_ATmega2560__)
#define SPI_DDR DDRB
#define SPI_OUTPUTS (_BV(PB0) | _BV(PB4) | _BV(PB5) | _BV(PB2) | _BV(PB1))
#define LATCH_PORT PORTB
#define LATCH_PLANES PB0
#define LATCH_SWITCHES PB4
#define SWITCHES_OFF PB5
#define ANALOG_PORT PORTA
#define ANALOG_DDR DDRA
#define BIT_SOURCE PA0
#define BIT_FEED PA1
#define BIT_DRIVE PA2
#define BIT_REF 3 /* PA3, PA4, PA5 */
#define RX_VECTOR USART0_RX_vect
#define TX_VECTOR USART0_UDRE_vect
#else
#error "a chip of port_avr.c: atmega328p or atmega2560"
#endif

/* ---- analogue side ---- */

static void spi_byte(uint8_t byte) {
    SPDR = byte;
    while (!(SPSR & _BV(SPIF))) {
    }
}

static void latch(uint8_t bit) {
    LATCH_PORT |= (uint8_t)_BV(bit);
    LATCH_PORT &= (uint8_t)~_BV(bit);
}

void port_planes(uint8_t force_plus, uint8_t force_minus, uint8_t sense_plus, uint8_t sense_minus) {
    spi_byte(sense_minus);
    spi_byte(sense_plus);
    spi_byte(force_minus);
    spi_byte(force_plus);
    latch(LATCH_PLANES);
}

void port_switches(const uint8_t *high, const uint8_t *low) {
    /* the high side is P-channel: a low output switches it on */
    for (uint8_t i = FORCE_BYTES; i--;) spi_byte(low ? low[i] : 0);
    for (uint8_t i = FORCE_BYTES; i--;) spi_byte((uint8_t)~(high ? high[i] : 0));
    latch(LATCH_SWITCHES);
    LATCH_PORT &= (uint8_t)~_BV(SWITCHES_OFF); /* outputs only once the registers hold a known word */
}

void port_reference(uint8_t references) {
    /* the port bits stay 0: an output pulls its resistor to ground, an input lets go */
    ANALOG_DDR = (uint8_t)((ANALOG_DDR & ~(7u << BIT_REF)) | (unsigned)(references << BIT_REF));
}

void port_drive(uint8_t drive) {
    if (drive == DRIVE_OPEN) {
        ANALOG_DDR &= (uint8_t)~_BV(BIT_DRIVE);
        ANALOG_PORT &= (uint8_t)~_BV(BIT_DRIVE);
        return;
    }
    if (drive == DRIVE_HIGH) {
        ANALOG_PORT |= (uint8_t)_BV(BIT_DRIVE);
    } else {
        ANALOG_PORT &= (uint8_t)~_BV(BIT_DRIVE);
    }
    ANALOG_DDR |= (uint8_t)_BV(BIT_DRIVE);
}

void port_source(uint8_t source) {
    uint8_t bits = (uint8_t)(ANALOG_PORT & ~(_BV(BIT_SOURCE) | _BV(BIT_FEED)));
    if (source == SOURCE_100MA) bits |= (uint8_t)_BV(BIT_SOURCE);
    if (source == SOURCE_FEED) bits |= (uint8_t)_BV(BIT_FEED);
    ANALOG_PORT = bits;
}

uint16_t port_convert(uint8_t channel, uint8_t quick) {
    ADMUX = (uint8_t)(_BV(REFS0) | channel); /* the supply is the reference: every range is a ratio */
    /* 125 kHz, 104 us; quick: 500 kHz, 26 us, good to some 8 bits */
    ADCSRA = (uint8_t)(_BV(ADEN) | _BV(ADSC) | (quick ? 5 : 7));
    while (ADCSRA & _BV(ADSC)) {
    }
    return ADC;
}

void port_wait_us(uint16_t us) {
    while (us >= 100) {
        _delay_us(100);
        us = (uint16_t)(us - 100);
    }
    while (us >= 5) {
        _delay_us(4.5); /* and the loop itself */
        us = (uint16_t)(us - 5);
    }
}

/* ---- serial line, 115,200 baud 8N1 ---- */

#define RX_SIZE 128 /* powers of two */
#define TX_SIZE 128
static volatile uint8_t rx[RX_SIZE], rx_head, rx_tail, tx[TX_SIZE], tx_head, tx_tail;

ISR(RX_VECTOR) {
    uint8_t byte = UDR0, next = (uint8_t)(rx_head + 1) % RX_SIZE;
    if (next != rx_tail) { /* full: the byte is lost, and the line's check tells */
        rx[rx_head] = byte;
        rx_head = next;
    }
}

ISR(TX_VECTOR) {
    if (tx_head == tx_tail) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
        return;
    }
    UDR0 = tx[tx_tail];
    tx_tail = (uint8_t)(tx_tail + 1) % TX_SIZE;
}

void port_send(uint8_t byte) {
    uint8_t next = (uint8_t)(tx_head + 1) % TX_SIZE;
    while (next == tx_tail) {
    }
    tx[tx_head] = byte;
    tx_head = next;
    UCSR0B |= (uint8_t)_BV(UDRIE0);
}

int16_t port_receive(void) {
    if (rx_head == rx_tail) return -1;
    uint8_t byte = rx[rx_tail];
    rx_tail = (uint8_t)(rx_tail + 1) % RX_SIZE;
    return byte;
}

static volatile uint32_t ms;

ISR(TIMER0_COMPA_vect) { ms++; }

uint32_t port_ms(void) {
    uint8_t flags = SREG;
    cli();
    uint32_t now = ms;
    SREG = flags;
    return now;
}

void port_idle(void) {
    cli(); /* a byte that comes in between must still wake: SEI takes effect after SLEEP begins */
    if (rx_head == rx_tail) {
        sleep_enable();
        sei();
        sleep_cpu();
        sleep_disable();
    }
    sei();
}

void port_store(uint8_t address, uint8_t byte) {
    eeprom_update_byte((uint8_t *)(uintptr_t)address, byte);
}

uint8_t port_fetch(uint8_t address) { return eeprom_read_byte((const uint8_t *)(uintptr_t)address); }

int main(void) {
    LATCH_PORT = (uint8_t)_BV(SWITCHES_OFF);
    SPI_DDR = SPI_OUTPUTS;
    ANALOG_PORT = 0;
    ANALOG_DDR = (uint8_t)(_BV(BIT_SOURCE) | _BV(BIT_FEED));
    SPCR = _BV(SPE) | _BV(MSTR);
    SPSR = _BV(SPI2X); /* 8 MHz */
    DIDR0 = 0x3F;
    TCCR0A = _BV(WGM01);
    TCCR0B = _BV(CS01) | _BV(CS00); /* 250 kHz */
    OCR0A = 249;
    TIMSK0 = _BV(OCIE0A);
    UCSR0A = _BV(U2X0);
    UBRR0 = 16; /* with U2X0 117,647 baud, 2.1 % fast: the usual choice at 16 MHz */
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    commands_start();
    for (;;) commands_step();
}
