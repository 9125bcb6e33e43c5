#include "line.h"

#include <string.h>

#include "port.h"

/* Four bits at a time: sixteen table entries cost 32 bytes, a full table 512. */
static const uint16_t crc_nibble[16] = {0x0000, 0x1021, 0x2042, 0x3063, 0x4084, 0x50A5, 0x60C6, 0x70E7,
                                        0x8108, 0x9129, 0xA14A, 0xB16B, 0xC18C, 0xD1AD, 0xE1CE, 0xF1EF};

uint16_t crc_add(uint16_t crc, uint8_t byte) {
    crc = (uint16_t)((uint16_t)(crc << 4) ^ crc_nibble[(uint8_t)(crc >> 12) ^ (byte >> 4)]);
    return (uint16_t)((uint16_t)(crc << 4) ^ crc_nibble[(uint8_t)(crc >> 12) ^ (byte & 15u)]);
}

static uint16_t out_crc;
static uint8_t out_length;

static void put_hex(uint8_t nibble) { port_send((uint8_t)(nibble < 10 ? '0' + nibble : 'A' + nibble - 10)); }

static char hex_char(uint8_t nibble) { return (char)(nibble < 10 ? '0' + nibble : 'A' + nibble - 10); }

void line_char(char c) {
    out_crc = crc_add(out_crc, (uint8_t)c);
    out_length++;
    port_send((uint8_t)c);
}

void line_text(const char *text) {
    while (*text) line_char(*text++);
}

void line_word(const char *text) {
    line_char(' ');
    line_text(text);
}

void line_begin(uint16_t seq) {
    out_crc = CRC_START;
    out_length = 0;
    line_char(':');
    if (seq == SEQ_BY_HAND) {
        line_text("--");
    } else {
        line_char(hex_char((uint8_t)(seq >> 4) & 15u));
        line_char(hex_char((uint8_t)seq & 15u));
    }
}

void line_digits(uint32_t value, uint8_t width) {
    char digits[10];
    uint8_t n = 0;
    do {
        digits[n++] = (char)('0' + value % 10);
        value /= 10;
    } while (value && n < sizeof digits);
    for (uint8_t pad = n; pad < width; pad++) line_char('0');
    while (n) line_char(digits[--n]);
}

void line_number(int32_t value) {
    line_char(' ');
    if (value < 0) line_char('-');
    line_digits(value < 0 ? 0u - (uint32_t)value : (uint32_t)value, 1);
}

void line_hex(const uint8_t *bytes) {
    line_char(' ');
    for (uint8_t i = FORCE_BYTES; i--;) {
        line_char(hex_char(bytes[i] >> 4));
        line_char(hex_char(bytes[i] & 15u));
    }
}

void line_end(void) {
    uint16_t crc = out_crc;
    uint8_t length = out_length;
    port_send('*');
    put_hex(length >> 4);
    put_hex(length & 15u);
    put_hex((uint8_t)(crc >> 12));
    put_hex((uint8_t)(crc >> 8) & 15u);
    put_hex((uint8_t)(crc >> 4) & 15u);
    put_hex((uint8_t)crc & 15u);
    port_send('\r');
    port_send('\n');
}

/* ---- input ---- */

static char in_line[LINE_LIMIT + 1];
static uint8_t in_length;
static uint8_t in_overlong;

static int8_t hex_value(char c) {
    if (c >= '0' && c <= '9') return (int8_t)(c - '0');
    if (c >= 'A' && c <= 'F') return (int8_t)(c - 'A' + 10);
    return -1;
}

/* The value of n upper-case hex digits, or -1. */
static int32_t hex_field(const char *text, uint8_t n) {
    int32_t value = 0;
    while (n--) {
        int8_t digit = hex_value(*text++);
        if (digit < 0) return -1;
        value = value * 16 + digit;
    }
    return value;
}

static void split(request_t *request, char *text) {
    request->words = 0;
    while (request->words < WORD_LIMIT) {
        request->word[request->words++] = text;
        text = strchr(text, ' ');
        if (!text) break;
        *text++ = 0;
    }
}

/* "@07 pair 3 7*0CBEEF": number, words, length and CRC of what stands before the star. */
static uint8_t unframe(request_t *request) {
    if (in_line[0] != '@') {
        request->seq = SEQ_BY_HAND;
        /* Only a letter begins a line typed by hand: the remains of a damaged line do not pass as one. */
        if (in_line[0] < 'a' || in_line[0] > 'z' || memchr(in_line, '*', in_length)) return LINE_DAMAGED;
        split(request, in_line);
        return LINE_REQUEST;
    }
    if (in_length < 12) return LINE_DAMAGED;
    uint8_t body = (uint8_t)(in_length - 7);
    int32_t seq = hex_field(in_line + 1, 2);
    if (seq < 0 || in_line[3] != ' ' || in_line[body] != '*') return LINE_DAMAGED;
    uint16_t crc = CRC_START;
    for (uint8_t i = 0; i < body; i++) crc = crc_add(crc, (uint8_t)in_line[i]);
    if (hex_field(in_line + body + 1, 2) != body || hex_field(in_line + body + 3, 4) != crc) return LINE_DAMAGED;
    in_line[body] = 0;
    request->seq = (uint16_t)seq;
    split(request, in_line + 4);
    return LINE_REQUEST;
}

uint8_t line_poll(request_t *request) {
    int16_t byte;
    while ((byte = port_receive()) >= 0) {
        if (byte == '\r' || byte == '\n') {
            uint8_t overlong = in_overlong, length = in_length;
            in_line[in_length] = 0;
            in_overlong = 0;
            if (overlong) {
                in_length = 0;
                return LINE_DAMAGED;
            }
            if (!length) continue;
            uint8_t found = unframe(request);
            in_length = 0;
            return found;
        }
        if (byte < ' ' || byte > '~') byte = 0x7F; /* keeps its place, so that the check fails */
        if (in_length == LINE_LIMIT) {
            in_overlong = 1;
        } else {
            in_line[in_length++] = (char)byte;
        }
    }
    return LINE_NONE;
}

uint8_t parse_number(const char *text, uint32_t low, uint32_t high, uint32_t *value) {
    uint32_t number = 0;
    uint8_t digits = 0;
    for (; *text; text++, digits++) {
        if (*text < '0' || *text > '9' || digits == 9) return 1;
        number = number * 10 + (uint32_t)(*text - '0');
    }
    *value = number;
    return digits == 0 || number < low || number > high;
}

uint8_t parse_hex_set(const char *text, uint8_t *bytes) {
    if (strlen(text) != 2 * FORCE_BYTES) return 1;
    for (uint8_t i = FORCE_BYTES; i--; text += 2) {
        int32_t value = hex_field(text, 2);
        if (value < 0) return 1;
        bytes[i] = (uint8_t)value;
    }
    return 0;
}
