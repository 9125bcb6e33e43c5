#include "board.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Fixed by the schematic. */
#define SUPPLY 5.0
#define MIDDLE 2.5          /* leakage of a multiplexer's off channels pulls to the middle of the supply */
#define FORCE_OHMS 470.0
#define CHIP_OHMS 25.0      /* an output of the microcontroller */
#define SWITCH_OHMS 0.5
#define DIODE_DROP 0.3      /* of the diode in the high-side switch */
#define FEED_OHMS 100e3
#define SOURCE_OHMS 1.0     /* of the constant current source at its stop */
#define COMPLIANCE 4.5      /* most the constant current source can give, in volts */
#define PEDESTAL 0.1        /* of the amplified channel, so that it can read below zero */
#define LOOM_DIODE_V 0.55
#define LOOM_DIODE_OHMS 5.0
#define BRANCHES (2 * BOARD_PINS + 8 + BOARD_EXTRA)

static double uniform(uint64_t seed, uint64_t n) { /* splitmix64: the same in C and Python */
    uint64_t z = seed * 0x9E3779B97F4A7C15ull + (n + 1) * 0xD1B54A32D192ED03ull;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ull;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBull;
    z ^= z >> 31;
    return (double)(z >> 11) * 0x1p-53;
}

static double normal(uint64_t seed, uint64_t n) { /* Irwin-Hall of twelve */
    double sum = -6.0;
    for (uint64_t i = 0; i < 12; i++) sum += uniform(seed, n * 12 + i);
    return sum;
}

static double mux_ohms(const board *b, int plane, int pin) {
    double u = uniform((uint64_t)b->parts.seed + 1000003u, (uint64_t)(plane * BOARD_PINS + pin));
    return b->parts.mux_on + b->parts.mux_spread * (2.0 * u - 1.0);
}

/* ---- the loom: nodal matrix reduced to the pins and inverted without one subtraction ----
 * Off-diagonal conductances c >= 0 and leaks g >= 0 describe a weakly dominant matrix; eliminating with
 * its row sums kept apart keeps every entry accurate to rounding, however far 1 mohm lies from 1 Gohm
 * (the principle of Grassmann, Taksar and Heyman 1985 for Markov chains). */
static void eliminate(double *c, double *g, double *s, int n, int k) {
    double sum = g[k];
    for (int j = 0; j < k; j++) sum += c[k * n + j];
    s[k] = sum;
    for (int i = 0; i < k; i++) {
        if (c[i * n + k] == 0.0) continue;
        double share = c[i * n + k] / sum;
        for (int j = 0; j < k; j++)
            if (j != i) c[i * n + j] += share * c[k * n + j];
        g[i] += share * g[k];
    }
}

static void invert(board *b, double *c, double *g, int n) {
    int p = b->kept;
    double *s = calloc((size_t)n, sizeof *s);
    b->z = calloc((size_t)p * (size_t)p, sizeof *b->z);
    b->z1 = calloc((size_t)p, sizeof *b->z1);
    if (!s || !b->z || !b->z1) abort();
    for (int k = n - 1; k >= 0; k--) eliminate(c, g, s, n, k);
    /* forwards: node k alone sees 1/s[k]; then every further node is a weighted mean of the ones before */
    for (int k = 0; k < p; k++) {
        double own = 1.0 / s[k];
        for (int j = 0; j < k; j++) {
            double mean = 0.0;
            for (int i = 0; i < k; i++) mean += c[k * n + i] / s[k] * b->z[i * p + j];
            b->z[k * p + j] = b->z[j * p + k] = mean;
        }
        for (int i = 0; i < k; i++) own += c[k * n + i] / s[k] * b->z[i * p + k];
        b->z[k * p + k] = own;
    }
    for (int i = 0; i < p; i++)
        for (int j = 0; j < b->pins; j++) b->z1[i] += b->z[i * p + j];
    free(s);
}

static int part(board *b, const char *name, double value) {
    static const struct {
        const char *name;
        size_t at;
    } known[] = {
#define PART(x) {#x, offsetof(board_parts, x)}
        PART(ref_1k), PART(ref_10k), PART(ref_100k), PART(shunt), PART(gain), PART(current), PART(amp_offset),
        PART(noise), PART(inl), PART(leak), PART(mux_off), PART(mux_on), PART(mux_spread), PART(capacitance), PART(seed),
#undef PART
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (strcmp(name, known[i].name)) continue;
        *(double *)((char *)&b->parts + known[i].at) = value;
        return 0;
    }
    return 1;
}

/* nodes N KEPT | r A B OHMS | v A B VOLTS OHMS (A is positive) | d A B (conducts A to B) | part NAME VALUE.
 * Nodes below `pins` are the scanner's pins; sources and diodes end at nodes below KEPT; all count from 0. */
static int load_lines(board *b, FILE *file, double **c, int *n) {
    char text[200], name[40];
    for (int line = 1; fgets(text, sizeof text, file); line++) {
            int i, j;
        double x, y;
        if (text[0] == '#' || text[0] == '\n') continue;
        if (sscanf(text, "nodes %d %d", &i, &j) == 2) {
            if (*c || j < b->pins || j > BOARD_NODES || i < j || i > 4000) return line;
            *n = i;
            b->kept = j;
            *c = calloc((size_t)i * (size_t)i, sizeof **c);
            if (!*c) return line;
        } else if (sscanf(text, "part %39s %lf", name, &x) == 2) {
            if (part(b, name, x)) return line;
        } else if (*c && sscanf(text, "r %d %d %lf", &i, &j, &x) == 3) {
            if (i < 0 || j < 0 || i >= *n || j >= *n || i == j || !(x > 0)) return line;
            (*c)[i * *n + j] += 1.0 / x;
            (*c)[j * *n + i] += 1.0 / x;
        } else if (*c && b->extras < BOARD_EXTRA && sscanf(text, "v %d %d %lf %lf", &i, &j, &x, &y) == 4) {
            if (i < 0 || j < 0 || i >= b->kept || j >= b->kept || i == j || !(y > 0)) return line;
            b->extra[b->extras++] = (board_extra){i, j, y, x, 0};
        } else if (*c && b->extras < BOARD_EXTRA && sscanf(text, "d %d %d", &i, &j) == 2) {
            if (i < 0 || j < 0 || i >= b->kept || j >= b->kept || i == j) return line;
            b->extra[b->extras++] = (board_extra){j, i, LOOM_DIODE_OHMS, -LOOM_DIODE_V, 1};
        } else {
            return line;
        }
    }
    return *c ? 0 : 1;
}

int board_load(board *b, const char *path, int pins) {
    memset(b, 0, sizeof *b);
    b->pins = pins;
    b->parts = (board_parts){1000, 10e3, 100e3, 20, 40, 0.1, 0, 0.7, 0.25, 1e9, 1e9, 70, 20, 1e-9, 1};
    FILE *file = fopen(path, "r");
    if (!file) return -1;
    double *c = NULL;
    int n = 0, bad = load_lines(b, file, &c, &n);
    fclose(file);
    if (!bad) {
        double *g = calloc((size_t)n, sizeof *g);
        if (!g) abort();
        for (int i = 0; i < b->kept; i++) g[i] = 1.0 / b->parts.leak;
        invert(b, c, g, n);
        free(g);
        for (int i = 0; i < b->kept; i++) b->tau[i] = 1.0;
        board_state off;
        memset(&off, 0, sizeof off);
        board_set(b, &off, 0.0);
    }
    free(c);
    return bad;
}

/* ---- one state: branches on the loom, each volts behind ohms, from ground to a node or between two ---- */

typedef struct {
    int a, b; /* current flows into a and out of b (-1: ground) */
    double ohms, volts;
    int group; /* 1: shares the shunt, 2: shares the feed resistor */
} branch;

/* Bus L by itself: the reference resistors and the leakage of its multiplexers. */
typedef struct {
    double ohms, volts;
} circuit_bus;

typedef struct {
    branch at[BRANCHES];
    int n;
    double shared[3];
    int force_minus, source_pin; /* index of the branch to bus L; pin of the constant current, or -1 */
    circuit_bus l;
} circuit;

static void add(circuit *c, int a, int b, double ohms, double volts, int group) {
    c->at[c->n++] = (branch){a, b, ohms, volts, group};
}

static int bit(const uint8_t *set, int pin) { return set[pin >> 3] >> (pin & 7) & 1; }

static circuit_bus bus_l(const board *b) {
    double g = b->pins / b->parts.mux_off, g_off = g;
    if (b->state.references & 1) g += 1.0 / (b->parts.ref_1k + CHIP_OHMS);
    if (b->state.references & 2) g += 1.0 / (b->parts.ref_10k + CHIP_OHMS);
    if (b->state.references & 4) g += 1.0 / (b->parts.ref_100k + CHIP_OHMS);
    return (circuit_bus){1.0 / g, MIDDLE * g_off / g};
}

static void attach(const board *b, circuit *c) {
    const board_state *s = &b->state;
    c->n = 0;
    c->force_minus = c->source_pin = -1;
    c->shared[0] = 0.0;
    c->shared[1] = b->parts.shunt;
    c->shared[2] = s->source == 1 ? SOURCE_OHMS : FEED_OHMS;
    c->l = bus_l(b);
    if ((s->plane[FORCE_PLUS] & 0x80) && s->drive) {
        int pin = s->plane[FORCE_PLUS] & 0x7F;
        double ohms = FORCE_OHMS + mux_ohms(b, FORCE_PLUS, pin) + CHIP_OHMS;
        if (pin < b->pins) add(c, pin, -1, ohms, s->drive == 2 ? SUPPLY : 0.0, 0);
    }
    if (s->plane[FORCE_MINUS] & 0x80) {
        int pin = s->plane[FORCE_MINUS] & 0x7F;
        c->force_minus = c->n;
        if (pin < b->pins) add(c, pin, -1, FORCE_OHMS + mux_ohms(b, FORCE_MINUS, pin) + c->l.ohms, c->l.volts, 0);
        else c->force_minus = -1;
    }
    int highs = 0;
    for (int pin = 0; pin < b->pins; pin++) highs += bit(s->high, pin);
    for (int pin = 0; pin < b->pins; pin++) {
        if (bit(s->low, pin)) add(c, pin, -1, SWITCH_OHMS, 0.0, 1);
        if (!bit(s->high, pin)) continue;
        /* one pin: a constant current; many (with nothing held low): the source at its stop */
        if (s->source == 1 && highs == 1) c->source_pin = pin;
        if (s->source == 1 && highs > 1) add(c, pin, -1, SWITCH_OHMS, COMPLIANCE, 2);
        if (s->source == 2) add(c, pin, -1, SWITCH_OHMS, SUPPLY - DIODE_DROP, 2);
    }
    for (int i = 0; i < b->extras; i++)
        if (!b->extra[i].diode) add(c, b->extra[i].a, b->extra[i].b, b->extra[i].ohms, b->extra[i].volts, 0);
}

static double z_of(const board *b, int i, int j) { return i < 0 || j < 0 ? 0.0 : b->z[i * b->kept + j]; }

/* Branch currents: (ohms + A'ZA) i = volts - A'(rest), Gaussian elimination with pivoting. */
static void solve(const board *b, const circuit *c, const double *rest, int volts, double *current) {
    static double m[BRANCHES][BRANCHES + 1];
    int n = c->n;
    for (int i = 0; i < n; i++) {
        const branch *p = &c->at[i];
        for (int j = 0; j < n; j++) {
            const branch *q = &c->at[j];
            m[i][j] = (z_of(b, p->a, q->a) - z_of(b, p->a, q->b)) - (z_of(b, p->b, q->a) - z_of(b, p->b, q->b));
            if (p->group && p->group == q->group) m[i][j] += c->shared[p->group];
        }
        m[i][i] += p->ohms;
        double bias = p->b < 0 ? MIDDLE : 0.0; /* pins rest at the middle of the supply */
        m[i][n] = (volts ? p->volts - bias : 0.0) - (rest[p->a] - (p->b < 0 ? 0.0 : rest[p->b]));
    }
    for (int k = 0; k < n; k++) {
        int best = k;
        for (int i = k + 1; i < n; i++)
            if (fabs(m[i][k]) > fabs(m[best][k])) best = i;
        if (best != k)
            for (int j = k; j <= n; j++) {
                double t = m[k][j];
                m[k][j] = m[best][j];
                m[best][j] = t;
            }
        for (int i = k + 1; i < n; i++) {
            double f = m[i][k] / m[k][k];
            if (f == 0.0) continue;
            for (int j = k; j <= n; j++) m[i][j] -= f * m[k][j];
        }
    }
    for (int k = n - 1; k >= 0; k--) {
        double t = m[k][n];
        for (int j = k + 1; j < n; j++) t -= m[k][j] * current[j];
        current[k] = t / m[k][k];
    }
}

static void voltages(const board *b, const circuit *c, const double *rest, const double *current, double *v) {
    for (int p = 0; p < b->kept; p++) {
        v[p] = rest[p];
        for (int i = 0; i < c->n; i++) v[p] += (z_of(b, p, c->at[i].a) - z_of(b, p, c->at[i].b)) * current[i];
    }
}

/* Direct-current solution with the loom's diodes on or off as they must be. One that would carry less than a
 * microampere stays off: leakage alone does not charge a pin through it within a test. */
static void settle(const board *b, circuit *c, const double *rest, double *current, double *v) {
    int fixed = c->n;
    uint64_t on = 0, idle = 0;
    for (int round = 0; round <= 2 * b->extras; round++) {
        uint64_t next = on;
        c->n = fixed;
        for (int i = 0; i < b->extras; i++)
            if (on >> i & 1) add(c, b->extra[i].a, b->extra[i].b, b->extra[i].ohms, b->extra[i].volts, 0);
        solve(b, c, rest, 1, current);
        voltages(b, c, rest, current, v);
        for (int i = 0; i < b->extras; i++) {
            double forward = v[b->extra[i].b] - v[b->extra[i].a];
            if (!b->extra[i].diode) continue;
            if (!(on >> i & 1) && !(idle >> i & 1) && forward > LOOM_DIODE_V) next |= 1ull << i;
            if ((on >> i & 1) && (forward - LOOM_DIODE_V) / LOOM_DIODE_OHMS < 1e-6) {
                next &= ~(1ull << i);
                idle |= 1ull << i;
            }
        }
        if (next == on) break;
        on = next;
    }
}

static void time_constants(board *b, const circuit *c) {
    double rest[BOARD_NODES], current[BRANCHES];
    for (int p = 0; p < b->kept; p++) rest[p] = b->parts.capacitance * b->z1[p];
    solve(b, c, rest, 0, current);
    voltages(b, c, rest, current, b->tau); /* Elmore: sum over pins of transfer resistance times capacitance */
    for (int p = 0; p < b->kept; p++)
        if (b->tau[p] < 1e-9) b->tau[p] = 1e-9;
}

void board_set(board *b, const board_state *state, double t_s) {
    static circuit c;
    double now[BOARD_NODES], rest[BOARD_NODES], current[BRANCHES];
    for (int p = 0; p < b->kept; p++) now[p] = b->dc[p] + b->offset[p] * exp(-(t_s - b->since) / b->tau[p]);
    b->state = *state;
    b->since = t_s;
    attach(b, &c);
    for (int p = 0; p < b->kept; p++) rest[p] = 0.0;
    int fixed = c.n;
    if (c.source_pin >= 0) {
        for (int p = 0; p < b->kept; p++) rest[p] = b->parts.current * z_of(b, p, c.source_pin);
        settle(b, &c, rest, current, b->dc);
        if (MIDDLE + b->dc[c.source_pin] > COMPLIANCE) { /* nothing takes the current: the source runs into its stop */
            c.n = fixed;
            for (int p = 0; p < b->kept; p++) rest[p] = 0.0;
            add(&c, c.source_pin, -1, SOURCE_OHMS + SWITCH_OHMS, COMPLIANCE, 0);
            settle(b, &c, rest, current, b->dc);
        }
    } else {
        settle(b, &c, rest, current, b->dc);
    }
    b->shunt_v = 0.0;
    double feed = 0.0;
    for (int i = 0; i < c.n; i++) {
        if (c.at[i].group == 1) b->shunt_v -= current[i] * c.shared[1];
        if (c.at[i].group == 2) feed += current[i];
    }
    b->bus_h = state->source == 2 ? SUPPLY - feed * FEED_OHMS : 0.0;
    b->bus_l = c.l.volts - (c.force_minus < 0 ? 0.0 : current[c.force_minus] * c.l.ohms);
    time_constants(b, &c);
    for (int p = 0; p < b->kept; p++) {
        b->dc[p] += MIDDLE;
        b->offset[p] = now[p] - b->dc[p];
    }
}

static double pin_volts(const board *b, int plane, double t_s) {
    int pin = b->state.plane[plane] & 0x7F;
    if (!(b->state.plane[plane] & 0x80) || pin >= b->pins) return 0.0;
    return b->dc[pin] + b->offset[pin] * exp(-(t_s - b->since) / b->tau[pin]);
}

/* Bus L follows its pin through the force resistor; the pin's transient shows there divided. */
static double bus_l_volts(const board *b, double t_s) {
    int pin = b->state.plane[FORCE_MINUS] & 0x7F;
    if (!(b->state.plane[FORCE_MINUS] & 0x80) || pin >= b->pins) return b->bus_l;
    circuit_bus l = bus_l(b);
    double share = l.ohms / (l.ohms + FORCE_OHMS + mux_ohms(b, FORCE_MINUS, pin));
    return b->bus_l + share * b->offset[pin] * exp(-(t_s - b->since) / b->tau[pin]);
}

static double clip(double v) { return v < 0.0 ? 0.0 : v > SUPPLY ? SUPPLY : v; }

int board_code(board *b, int channel, int quick, double t_s) {
    double v = 0.0, plus = clip(pin_volts(b, SENSE_PLUS, t_s)), minus = clip(pin_volts(b, SENSE_MINUS, t_s));
    switch (channel) {
        case 0: v = bus_l_volts(b, t_s); break;
        case 1: v = plus; break;
        case 2: v = minus; break;
        case 3: v = clip(PEDESTAL + b->parts.gain * (plus - minus + b->parts.amp_offset)); break;
        case 4: v = b->shunt_v; break;
        case 5: v = b->bus_h; break;
        default: break;
    }
    double ideal = v / SUPPLY * 1024.0;
    double bend = b->parts.inl * sin(6.283185307179586 * (ideal / 512.0 + 0.17 * channel + 0.1 * b->parts.seed));
    double noise = b->parts.noise * (quick ? 1.5 : 1.0) * normal((uint64_t)b->parts.seed, b->conversions++);
    double code = floor(ideal + bend + noise);
    return code < 0.0 ? 0 : code > 1023.0 ? 1023 : (int)code;
}
