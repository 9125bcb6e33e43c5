/* The real firmware binary on a simulated chip, its pins on the simulated board, its UART on a
 * pseudo-terminal. The first line on standard output is the terminal's name; the processor waits until
 * somebody opens it. Ends when its parent does.
 *
 *   board FIRMWARE.elf CHIP PINS NETWORK [TIMES]
 *
 * TIMES, a file, receives for every line the simulated second at which it ended and the most bytes of stack
 * used so far: "< SECOND STACK" for a line of the host, "> SECOND STACK" for one of the board.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <termios.h>
#include <unistd.h>

#include <avr_adc.h>
#include <avr_extint.h>
#include <avr_ioport.h>
#include <avr_uart.h>
#include <sim_avr.h>
#include <sim_elf.h>

#include "board.h"

static avr_t *avr;
static board the_board;
static board_state state, applied;
static uint8_t shift_planes[PLANES], shift_switches[BOARD_PINS / 4];
static int terminal = -1, accepts = 1;
static FILE *times;

static char spi_port, analog_port;
static int bit_planes, bit_switches, bit_off, bit_source, bit_feed, bit_drive, bit_reference;

static double now_s(void) { return (double)avr->cycle / (double)avr->frequency; }

static void apply_state(void) {
    if (!memcmp(&state, &applied, sizeof state)) return;
    applied = state;
    board_set(&the_board, &state, now_s());
}

/* ---- chip pins to board ---- */

/* simavr 1.6 gives every SPI byte 100 us; at 8 MHz it takes 16 cycles. This stands in for its SPI: both
 * chips have SPDR and SPSR at the same addresses. */
#define DATA_SPSR 0x4D
#define DATA_SPDR 0x4E
#define SPIF 0x80

static avr_cycle_count_t spi_done(avr_t *chip, avr_cycle_count_t when, void *param) {
    (void)when;
    (void)param;
    chip->data[DATA_SPSR] |= SPIF;
    return 0;
}

static void on_spi(avr_t *chip, avr_io_addr_t address, uint8_t value, void *param) {
    (void)address;
    (void)param;
    memmove(shift_planes + 1, shift_planes, sizeof shift_planes - 1);
    shift_planes[0] = value;
    memmove(shift_switches + 1, shift_switches, sizeof shift_switches - 1);
    shift_switches[0] = value;
    chip->data[DATA_SPSR] &= (uint8_t)~SPIF;
    avr_cycle_timer_register(chip, 16, spi_done, NULL);
}

static uint8_t latched[BOARD_PINS / 4];

static void switches_now(int off) {
    int bytes = the_board.pins / 8;
    memset(state.high, 0, sizeof state.high);
    memset(state.low, 0, sizeof state.low);
    if (off) return;
    for (int i = 0; i < bytes; i++) {
        state.high[i] = (uint8_t)~latched[i]; /* P-channel */
        state.low[i] = latched[bytes + i];
    }
}

/* What the chip last wrote; the notice comes before the simulator's own register changes, so its value
 * counts and not the register's. */
typedef struct {
    uint8_t port, ddr;
} chip_port;
static chip_port spi, analog;

static void on_port(struct avr_irq_t *irq, uint32_t value, void *param) {
    static int was_planes, was_switches;
    (void)irq;
    *(uint8_t *)param = (uint8_t)value;
    int planes = spi.port >> bit_planes & 1, switches = spi.port >> bit_switches & 1;
    if (planes && !was_planes) memcpy(state.plane, shift_planes, PLANES);
    if (switches && !was_switches) memcpy(latched, shift_switches, sizeof latched);
    was_planes = planes;
    was_switches = switches;
    switches_now(!(spi.ddr >> bit_off & 1) || (spi.port >> bit_off & 1));
    state.references = 0;
    for (int i = 0; i < 3; i++)
        if ((analog.ddr >> (bit_reference + i) & 1) && !(analog.port >> (bit_reference + i) & 1))
            state.references |= (uint8_t)(1 << i);
    int high = analog.port >> bit_drive & 1;
    state.drive = (uint8_t)(!(analog.ddr >> bit_drive & 1) ? 0 : high ? 2 : 1);
    state.source = (uint8_t)((analog.port >> bit_source & 1) ? 1 : (analog.port >> bit_feed & 1) ? 2 : 0);
    apply_state();
}

static avr_irq_t *adc_irqs;

static void on_trigger(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    (void)param;
    union {
        avr_adc_mux_t mux;
        uint32_t v;
    } u = {.v = value};
    uint8_t prescale = avr->data[0x7A] & 7; /* ADCSRA, the same address on both chips */
    int code = board_code(&the_board, u.mux.src, prescale < 7, now_s());
    /* the simulated converter takes whole millivolts and truncates: this gives exactly `code` */
    avr_raise_irq(adc_irqs + u.mux.src, (uint32_t)((code * 5000 + 1022) / 1023));
}

/* ---- UART to pseudo-terminal ---- */

static int stack_most;

static void note_stack(void) {
    int used = avr->ramend - (avr->data[R_SPL] | avr->data[R_SPH] << 8);
    if (used > stack_most && used < avr->ramend / 2) stack_most = used; /* before start-up SP is 0 */
}

static void note_line(char from, uint8_t byte) {
    if (!times || byte != '\n') return;
    fprintf(times, "%c %.6f %d\n", from, now_s(), stack_most);
    fflush(times);
}

static void on_byte(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    (void)param;
    uint8_t byte = (uint8_t)value;
    note_line('>', byte);
    while (write(terminal, &byte, 1) < 0 && (errno == EAGAIN || errno == EINTR)) {
        struct pollfd p = {terminal, POLLOUT, 0};
        poll(&p, 1, 100);
        if (p.revents & POLLHUP) return; /* nobody reads: as on a cable pulled out */
    }
}

static void on_xon(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    (void)value;
    (void)param;
    accepts = 1;
}

static void on_xoff(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    (void)value;
    (void)param;
    accepts = 0;
}

static avr_irq_t *uart_input;
static avr_cycle_count_t next_byte;

static void feed(void) {
    uint8_t byte;
    if (!accepts || avr->cycle < next_byte) return;
    next_byte = avr->cycle + avr->frequency / 20000; /* asks the system now and then only */
    if (read(terminal, &byte, 1) != 1) return;
    next_byte = avr->cycle + avr->frequency * 11 / 115200;
    note_line('<', byte);
    avr_raise_irq(uart_input, byte);
}

/* Nothing to do until a byte comes: give the machine its time back. */
static void on_sleep(avr_t *chip, avr_cycle_count_t cycles) {
    struct pollfd p = {terminal, POLLIN, 0};
    (void)chip;
    (void)cycles;
    if (poll(&p, 1, 0) == 0) poll(&p, 1, 1);
    if (p.revents & POLLHUP) usleep(1000);
}

static void on_log(avr_t *chip, const int level, const char *format, va_list arguments) {
    (void)chip;
    if (level <= LOG_ERROR) vfprintf(stderr, format, arguments);
}

/* ---- start ---- */

static void wire_chip(int mega) {
    spi_port = 'B';
    analog_port = mega ? 'A' : 'D';
    bit_planes = mega ? 0 : 2;
    bit_switches = mega ? 4 : 1;
    bit_off = mega ? 5 : 0;
    bit_source = mega ? 0 : 2;
    bit_feed = mega ? 1 : 3;
    bit_drive = mega ? 2 : 4;
    bit_reference = mega ? 3 : 5;
    avr->io[AVR_DATA_TO_IO(DATA_SPDR)].w.c = on_spi;
    const struct {
        char name;
        chip_port *as;
    } ports[2] = {{spi_port, &spi}, {analog_port, &analog}};
    for (int i = 0; i < 2; i++) {
        avr_irq_t *irqs = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(ports[i].name), 0);
        avr_irq_register_notify(irqs + IOPORT_IRQ_REG_PORT, on_port, &ports[i].as->port);
        avr_irq_register_notify(irqs + IOPORT_IRQ_DIRECTION_ALL, on_port, &ports[i].as->ddr);
    }
    adc_irqs = avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_trigger, NULL);
    avr->vcc = avr->avcc = avr->aref = 5000;
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    uart_input = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), on_xon, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), on_xoff, NULL);
    if (!mega) /* PD2 and PD3 are outputs here; low, they would be polled at every cycle */
        for (uint8_t i = 0; i < 2; i++) avr_extint_set_strict_lvl_trig(avr, i, 0);
}

static void open_terminal(void) {
    terminal = posix_openpt(O_RDWR | O_NOCTTY);
    if (terminal < 0 || grantpt(terminal) || unlockpt(terminal)) {
        perror("pseudo-terminal");
        exit(2);
    }
    int end = open(ptsname(terminal), O_RDWR | O_NOCTTY);
    struct termios raw;
    tcgetattr(end, &raw);
    cfmakeraw(&raw);
    tcsetattr(end, TCSANOW, &raw);
    close(end); /* closed once, the master shows "hung up" until somebody opens it again */
    fcntl(terminal, F_SETFL, O_NONBLOCK);
    printf("%s\n", ptsname(terminal));
    fflush(stdout);
    struct pollfd p = {terminal, 0, 0};
    for (;;) {
        p.revents = 0;
        poll(&p, 1, 0);
        if (!(p.revents & POLLHUP)) break;
        usleep(2000);
    }
}

int main(int argc, char **argv) {
    if (argc < 5) {
        fprintf(stderr, "usage: %s FIRMWARE.elf CHIP PINS NETWORK [TIMES]\n", argv[0]);
        return 2;
    }
    pid_t parent = getppid();
    prctl(PR_SET_PDEATHSIG, SIGKILL);
    if (getppid() != parent) return 0;
    avr_global_logger_set(on_log);
    int bad = board_load(&the_board, argv[4], atoi(argv[3]));
    if (bad) {
        fprintf(stderr, "%s: line %d cannot be used\n", argv[4], bad);
        return 2;
    }
    static elf_firmware_t firmware;
    if (elf_read_firmware(argv[1], &firmware)) return 2;
    avr = avr_make_mcu_by_name(argv[2]);
    if (!avr) return 2;
    avr_init(avr);
    avr->frequency = 16000000;
    avr->log = LOG_ERROR;
    avr->sleep = on_sleep;
    avr_load_firmware(avr, &firmware);
    avr->frequency = 16000000;
    if (argc > 5) times = fopen(argv[5], "w");
    wire_chip(!strcmp(argv[2], "atmega2560"));
    open_terminal();
    for (;;) {
        int how = avr_run(avr);
        if (how == cpu_Done || how == cpu_Crashed) return 1;
        note_stack();
        feed();
    }
}
