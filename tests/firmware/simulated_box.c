/* A simulated box: the firmware in a simulated ATmega328P, its UART on a pseudo-terminal.

   simulated_box ELF DRIVE [SPEED]

   DRIVE says what the box is given, a line each, in the order of time (s from the reset):
       adc TIME MILLIVOLT1 MILLIVOLT2     between two of them the voltages go straight
       edge TIME                          the pick-up pulls ICP1 down for 0.1 ms
       poke TIME ADDRESS VALUE            writes a register, as a fault would
       say TIME TEXT                      sends the text to the box; ~ stands for the end of a line
       end TIME
   SPEED 1 (the default) is true time, 4 four times as fast, 0 as fast as it goes.

   It prints the name of the pseudo-terminal, waits until a program has opened it, plays DRIVE, and
   prints what it saw; the last line is
       left the box: N samples, N infos, N answers, N other, N characters
   counted at the UART, before the terminal. Nothing is lost between: what the reader has not taken is
   kept here, up to 64 MB; beyond that the simulator stops with an error rather than drop anything.
   It then waits for the end of its standard input, so that the reader can take the rest. */

#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_time.h>

#define CLOCK_HZ 16000000.0
#define PULSE_CYCLES 1600
#define OVERDUE_CYCLES 2000
#define NEVER UINT64_MAX
#define MOST_KEPT (64u << 20)
#define LOOK_EVERY_CYCLES 8000 /* 0.5 ms: the terminal, and the pace */
#define STACK_TOP 0x8ff        /* RAMEND of the ATmega328P */
#define SPL 0x5d
#define SPH 0x5e

struct voltage { double at, mv[2]; };
struct poke { double at; uint16_t address; uint8_t value; };
struct saying { double at; char text[240]; };

static struct voltage *voltages;
static size_t voltages_n, voltage_now;
static double *edges;
static size_t edges_n, edge_now;
static struct poke *pokes;
static size_t pokes_n, poke_now;
static struct saying *sayings;
static size_t sayings_n, saying_now;
static double end_s;

static avr_t *avr;
static avr_irq_t *pin, *adc[2];
static avr_cycle_count_t due;
static bool pulled;

static char *kept;
static size_t kept_from, kept_to;
static char head[4];
static size_t line_n;
static unsigned long samples, infos, answers, others, characters;
static int terminal;
static avr_irq_t *input;
static bool may_send;
static char typed[4096];
static size_t typed_from, typed_to;

static void stop(const char *format, ...)
{
    va_list args;
    va_start(args, format);
    vfprintf(stderr, format, args);
    va_end(args);
    fputc('\n', stderr);
    exit(1);
}

static void *grown(void *list, size_t n, size_t size)
{
    if (n & (n - 1))
        return list;
    list = realloc(list, (n ? 2 * n : 1) * size);
    if (!list)
        stop("no memory for the drive file");
    return list;
}

static void read_drive(const char *name)
{
    char line[240];
    FILE *file = fopen(name, "r");
    if (!file)
        stop("%s: %s", name, strerror(errno));
    for (int number = 1; fgets(line, sizeof line, file); number++) {
        double at, a, b;
        unsigned address, value;
        int skipped = 0;
        if (sscanf(line, "adc %lf %lf %lf", &at, &a, &b) == 3) {
            voltages = grown(voltages, voltages_n, sizeof *voltages);
            voltages[voltages_n++] = (struct voltage){ at, { a, b } };
        } else if (sscanf(line, "edge %lf", &at) == 1) {
            edges = grown(edges, edges_n, sizeof *edges);
            edges[edges_n++] = at;
        } else if (sscanf(line, "poke %lf %x %x", &at, &address, &value) == 3) {
            pokes = grown(pokes, pokes_n, sizeof *pokes);
            pokes[pokes_n++] = (struct poke){ at, address, value };
        } else if (sscanf(line, "say %lf %n", &at, &skipped) == 1) {
            sayings = grown(sayings, sayings_n, sizeof *sayings);
            sayings[sayings_n].at = at;
            strcpy(sayings[sayings_n++].text, line + skipped);
        } else if (sscanf(line, "end %lf", &at) == 1) {
            end_s = at;
        } else {
            stop("%s, line %d: not understood: %s", name, number, line);
        }
    }
    fclose(file);
    if (!end_s)
        stop("%s: no line `end TIME`", name);
}

static double now_s(void)
{
    return avr->cycle / CLOCK_HZ;
}

/* The converter samples: give it the voltages of this moment. */
static void on_conversion(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)value, (void)param;
    double now = now_s();
    while (voltage_now + 1 < voltages_n && voltages[voltage_now + 1].at <= now)
        voltage_now++;
    if (voltage_now >= voltages_n)
        return;
    const struct voltage *v = voltages + voltage_now, *w = v + 1;
    bool last = voltage_now + 1 == voltages_n || now < v->at;
    double share = last ? 0 : (now - v->at) / (w->at - v->at);
    for (int i = 0; i < 2; i++) {
        double mv = v->mv[i] + (last ? 0 : share * (w->mv[i] - v->mv[i]));
        avr_raise_irq(adc[i], mv < 0 ? 0 : (uint32_t)(mv + 0.5));
    }
}

/* Pulls the pick-up's pin down at an edge and lets it go; the simulator calls it at the cycle. */
static avr_cycle_count_t on_edge(avr_t *a, avr_cycle_count_t when, void *param)
{
    (void)a, (void)param;
    avr_raise_irq(pin, pulled);
    pulled = !pulled;
    if (pulled) {
        edge_now++;
        due = when + PULSE_CYCLES;
    } else {
        due = edge_now < edges_n ? (avr_cycle_count_t)(edges[edge_now] * CLOCK_HZ) : NEVER;
        due = due > when ? due : when + 1;
    }
    return due == NEVER ? 0 : due;
}

/* Orders the next call, first of all and after a reset of the chip, which forgets all orders. */
static void order_edges(void)
{
    if (due == NEVER || avr->cycle < due + OVERDUE_CYCLES)
        return;
    due = avr->cycle + OVERDUE_CYCLES;
    avr_cycle_timer_register(avr, OVERDUE_CYCLES, on_edge, NULL);
}

/* A character leaves the UART. */
static void on_character(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    characters++;
    if (kept_to == MOST_KEPT)
        stop("the reader is %u MB behind", MOST_KEPT >> 20);
    kept[kept_to++] = value;
    if (value == '\n') {
        bool named = line_n >= 4;
        if (named && !memcmp(head, "$EBP", 4))
            samples++;
        else if (named && !memcmp(head, "$EBI", 4))
            infos++;
        else if (named && !memcmp(head, "$EBA", 4))
            answers++;
        else
            others++;
        line_n = 0;
    } else if (line_n++ < 4) {
        head[line_n - 1] = value;
    }
}

static void on_may_send(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)value;
    may_send = param != NULL;
}

static void type(char c)
{
    if (typed_to == sizeof typed)
        stop("more was written to the box than it reads");
    typed[typed_to++] = c;
}

/* Hands over what the terminal takes, and brings what the host or the drive has written. */
static void serve_terminal(void)
{
    char c;
    while (kept_from < kept_to) {
        ssize_t n = write(terminal, kept + kept_from, kept_to - kept_from);
        if (n <= 0)
            break;
        kept_from += n;
    }
    if (kept_from == kept_to)
        kept_from = kept_to = 0;
    while (read(terminal, &c, 1) == 1)
        type(c);
    for (; saying_now < sayings_n && sayings[saying_now].at <= now_s(); saying_now++)
        for (const char *t = sayings[saying_now].text; *t && *t != '\n'; t++)
            type(*t == '~' ? '\n' : *t);
    while (may_send && typed_from < typed_to)
        avr_raise_irq(input, (uint8_t)typed[typed_from++]);
    if (typed_from == typed_to)
        typed_from = typed_to = 0;
}

static double clock_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return t.tv_sec + t.tv_nsec * 1e-9;
}

static void no_sleep(avr_t *a, avr_cycle_count_t cycles)
{
    (void)a, (void)cycles; /* serve() paces */
}

static void quiet(avr_t *a, const int level, const char *format, va_list args)
{
    (void)a;
    if (level <= LOG_ERROR)
        vfprintf(stderr, format, args);
}

static void open_terminal(void)
{
    struct termios raw;
    terminal = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (terminal < 0 || grantpt(terminal) || unlockpt(terminal))
        stop("no pseudo-terminal: %s", strerror(errno));
    /* Raw before anyone listens; opened and closed once, so that a hang-up says that nobody does. */
    int slave = open(ptsname(terminal), O_RDWR | O_NOCTTY);
    if (slave < 0 || tcgetattr(slave, &raw))
        stop("%s: %s", ptsname(terminal), strerror(errno));
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    close(slave);
    printf("%s\n", ptsname(terminal));
    fflush(stdout);
    struct pollfd host = { .fd = terminal };
    while (poll(&host, 1, 0) >= 0 && host.revents & POLLHUP)
        usleep(1000);
}

static void wire_up(void)
{
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    input = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_character, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), on_may_send, avr);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), on_may_send, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_conversion, NULL);
    for (int i = 0; i < 2; i++)
        adc[i] = avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + i);
    pin = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 0);
    avr_raise_irq(pin, 1);
}

int main(int argc, char **argv)
{
    elf_firmware_t firmware = { 0 };
    if (argc < 3)
        stop("simulated_box ELF DRIVE [SPEED]");
    double speed = argc > 3 ? atof(argv[3]) : 1;
    signal(SIGPIPE, SIG_IGN);
    read_drive(argv[2]);
    kept = malloc(MOST_KEPT);
    avr_global_logger_set(quiet);
    if (!kept || elf_read_firmware(argv[1], &firmware))
        stop("%s: not a firmware", argv[1]);
    avr = avr_make_mcu_by_name("atmega328p");
    if (!avr || avr_init(avr))
        stop("this simulator has no ATmega328P");
    firmware.frequency = CLOCK_HZ;
    avr_load_firmware(avr, &firmware);
    avr->log = LOG_ERROR;
    avr->frequency = CLOCK_HZ;
    avr->vcc = avr->avcc = avr->aref = 5000;
    avr->sleep = no_sleep;
    avr->run_cycle_limit = 1; /* an instruction at a time, or stack and held interrupts go unseen */
    wire_up();
    open_terminal();

    due = edges_n ? (avr_cycle_count_t)(edges[0] * CLOCK_HZ) : NEVER;
    if (edges_n)
        avr_cycle_timer_register(avr, due, on_edge, NULL);
    double began = clock_s();
    avr_cycle_count_t look = 0, held = 0, held_longest = 0, held_all = 0;
    unsigned stack = STACK_TOP;
    bool begun = false;
    while (now_s() < end_s) {
        avr_cycle_count_t before = avr->cycle;
        if (poke_now < pokes_n && pokes[poke_now].at <= now_s()) {
            avr->data[pokes[poke_now].address] = pokes[poke_now].value;
            poke_now++;
        }
        order_edges();
        int state = avr_run(avr);
        if (state == cpu_Crashed || state == cpu_Done)
            stop("the firmware crashed at %.3f s", now_s());
        /* How long interrupts are held up: this is the lateness of every other one. */
        if (avr->sreg[S_I]) {
            held = 0;
            begun = true;
        } else if (begun) {
            held += avr->cycle - before;
            held_all += avr->cycle - before;
            if (held > held_longest)
                held_longest = held;
        }
        unsigned sp = avr->data[SPL] | avr->data[SPH] << 8;
        if (sp > 0x100 && sp < stack)
            stack = sp;
        if (avr->cycle < look)
            continue;
        look = avr->cycle + LOOK_EVERY_CYCLES;
        serve_terminal();
        double ahead = speed > 0 ? now_s() / speed - (clock_s() - began) : 0;
        if (ahead > 0.001)
            usleep(ahead * 1e6);
    }
    printf("took %.2f s for %.2f s\n", clock_s() - began, now_s());
    printf("interrupts held up: %.2f %% of the time, %llu cycles at the most\n", 100.0 * held_all / avr->cycle,
           (unsigned long long)held_longest);
    printf("stack: %u bytes at the most\n", STACK_TOP - stack);
    printf("left the box: %lu samples, %lu infos, %lu answers, %lu other, %lu characters\n", samples, infos, answers,
           others, characters);
    fflush(stdout);
    struct pollfd parent = { .fd = 0, .events = POLLIN };
    do {
        serve_terminal();
        poll(&parent, 1, 5);
    } while (!(parent.revents & (POLLIN | POLLHUP)) || (parent.revents & POLLIN && read(0, head, 1) > 0));
    return 0;
}
