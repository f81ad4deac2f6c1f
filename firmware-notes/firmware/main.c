/* Firmware of a box with two pressure sensors and an ignition pick-up.

   ADC0, ADC1: sensors 1 and 2. ICP1 (PB0): pick-up. RXD, TXD: to the host. What it says and obeys
   stands in ../wire-protocol.md, why it samples as it does in ../timing.md. */
#include "box.h"
#include <avr/sleep.h>
#include <avr/wdt.h>

#define INFO_EVERY_US 10000000UL
#define TWO_TURNS_TENTHS 2400000000UL /* ticks in 2 * 60 s, times ten: over a span, rev/min * 10 */
static uint16_t hz = FIRST_HZ;

static void send_sample(const struct sample *s)
{
    wire_begin(PSTR("EBP"));
    wire_number(s->seq);
    wire_number(s->micros);
    if (s->span)
        wire_number((TWO_TURNS_TENTHS + s->span / 2) / s->span);
    else
        wire_text(PSTR(""));
    wire_number(s->code[0]);
    wire_number(s->code[1]);
    wire_send(); /* no room: the sample is lost, and its number tells */
}

static bool send_info(void)
{
    wire_begin(PSTR("EBI," BOX_NAME "," BOX_VERSION));
    wire_number(CODE_BITS);
    wire_number(VREF_MV);
    wire_text(PSTR(SENSOR_1));
    wire_text(PSTR(SENSOR_2));
    wire_number(hz);
    return wire_send();
}

/* Does and answers a command: a rate out of range becomes the nearest in it, ZERO only says that the
   box was reached (the host subtracts). Words that mean nothing are passed over in silence. */
static void obey(const char *words)
{
    if (strcmp_P(words, PSTR("EBC,ZERO")) == 0) {
        wire_begin(PSTR("EBA,ZERO"));
    } else if (strncmp_P(words, PSTR("EBC,RATE,"), 9) == 0) {
        char *end;
        unsigned long asked = strtoul(words + 9, &end, 10);
        if (words[9] < '0' || words[9] > '9' || *end)
            return;
        hz = asked < LEAST_HZ ? LEAST_HZ : asked > MOST_HZ ? MOST_HZ : asked;
        sampling_rate(hz);
        wire_begin(PSTR("EBA,RATE"));
        wire_number(hz);
    } else {
        return;
    }
    wire_send();
}

int main(void)
{
    struct sample sample;
    uint32_t info_at = FIRST_MICROS;
    bool info_due = true;
    MCUSR = 0; /* or the watchdog stays on in its shortest setting after it has bitten */
    wdt_enable(WDTO_500MS);
    wire_start();
    sampling_start();
    sei();
    for (;;) {
        /* Only a sample taken and handed on here quiets the watchdog: it bites when the interrupts
           stop as well as when this loop does. */
        if (sampling_take(&sample)) {
            wdt_reset();
            send_sample(&sample);
            if (sample.micros - info_at >= INFO_EVERY_US) {
                info_at = sample.micros;
                info_due = true;
            }
        }
        if (info_due)
            info_due = !send_info();
        const char *words = wire_heard();
        if (words && strcmp_P(words, PSTR("EBC,INFO")) == 0)
            info_due = true;
        else if (words)
            obey(words);
        sleep_mode(); /* idle; the next slot wakes it, within 0.25 ms */
    }
}
