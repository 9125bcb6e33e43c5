/* Lines of the protocol: ../protocol.md is their grammar. */
#ifndef SCANNER_LINE_H
#define SCANNER_LINE_H

#include <stdint.h>

#define LINE_LIMIT 80  /* longest request, without its end */
#define WORD_LIMIT 8   /* most words in a request */
#define SEQ_BY_HAND 256 /* a request typed without number and check */

/* CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF, no reflection; of "123456789": 0x29B1. */
#define CRC_START 0xFFFFu
uint16_t crc_add(uint16_t crc, uint8_t byte);

void line_begin(uint16_t seq); /* ":07" or ":--" */
void line_char(char c);
void line_text(const char *text);
void line_word(const char *text); /* a space, then the text */
void line_number(int32_t value);  /* a space, then the number */
void line_digits(uint32_t value, uint8_t width); /* padded with zeros to width */
void line_hex(const uint8_t *bytes);             /* a space, then a pin set */
void line_end(void);

/* What stands in the input. */
enum { LINE_NONE, LINE_REQUEST, LINE_DAMAGED };

typedef struct {
    uint16_t seq;
    uint8_t words;
    char *word[WORD_LIMIT];
} request_t;

/* Takes waiting bytes; LINE_REQUEST once per whole, undamaged line. The words stay valid until the
 * next call. */
uint8_t line_poll(request_t *request);

/* 0 when the text is a number from low to high, written without sign or blank. */
uint8_t parse_number(const char *text, uint32_t low, uint32_t high, uint32_t *value);
uint8_t parse_hex_set(const char *text, uint8_t *bytes);

#endif
