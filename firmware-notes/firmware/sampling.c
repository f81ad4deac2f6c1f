/* Pressures and engine speed, taken in interrupts. */
#include "box.h"
#include <util/atomic.h>

/* Timer 1 runs free at F_CPU / 8 and is the box's only clock: it starts the conversions, stamps the
   ignition edges and gives `micros` ("16-bit Timer/Counter1 with PWM", normal mode). */
#define TICKS_A_SECOND (F_CPU / 8)
#define SILENCE_TICKS (2 * TICKS_A_SECOND)
#define DEAD_TICKS (2 * DEAD_TIME_US)
#define EDGES (2 * PULSES_A_TURN)

/* A conversion takes 13 cycles of the converter's clock and up to one to begin, 112 us at 125 kHz
   ("Prescaling and Conversion Timing"; ten good bits need 50 to 200 kHz). A slot is longer by the
   lateness that the interrupt which reads and starts may have. */
#define CONVERSION_TICKS 226
#define LEAST_SLOT_TICKS 250

/* How a sample is divided. A slot holds one conversion; the order of the sensors is 1, 2, 2, 1. */
struct plan {
    uint16_t slots, slot_ticks;
    uint16_t spare_ticks; /* what the division leaves; the last slot is longer by it */
    uint8_t shift;        /* sum to code */
};
static struct plan plan, wanted;
static bool fresh;
static uint32_t overflows;
static struct sample latest;
static uint32_t edges_at[EDGES], last_edge, span;
static uint8_t edges, oldest;

/* As many conversions as there is time for, by doubling: 16 of each sensor at 250 to 126 samples a
   second, 256 at 10 to 15. */
static struct plan plan_for(uint16_t hz)
{
    uint32_t period = (TICKS_A_SECOND + hz / 2) / hz;
    struct plan p = { .slots = 32 };
    for (; period / (2 * p.slots) >= LEAST_SLOT_TICKS; p.shift++)
        p.slots *= 2;
    p.slot_ticks = period / p.slots;
    p.spare_ticks = period % p.slots;
    return p;
}

/* Overflows before a count of the timer that was taken a moment ago, asked in an interrupt. One that
   still waits for its own interrupt came before a small count and after a large one. */
static uint32_t overflows_at(uint16_t count)
{
    return overflows + ((TIFR1 & _BV(TOV1)) && count < 0x8000);
}

static uint32_t ticks_at(uint16_t count)
{
    return overflows_at(count) << 16 | count;
}

/* Wraps at 32 bits, after 71.6 min. An overflow is 32,768 us. */
static uint32_t micros_at(uint16_t count)
{
    return FIRST_MICROS + (overflows_at(count) << 15) + (count >> 1);
}

static uint8_t sensor_of(uint16_t slot)
{
    return ((slot + 1) >> 1) & 1; /* 0 1 1 0 0 1 1 0 */
}

ISR(TIMER1_OVF_vect)
{
    overflows++;
}

/* An ignition edge; the unit kept the count of its moment ("Input Capture Unit"). */
ISR(TIMER1_CAPT_vect)
{
    uint32_t now = ticks_at(ICR1);
    if (edges && now - last_edge < DEAD_TICKS)
        return;
    if (now - last_edge > SILENCE_TICKS)
        edges = span = 0;
    /* Over two turns every cylinder counts once: uneven points do not show as hunting. */
    if (edges == EDGES)
        span = now - edges_at[oldest];
    else
        edges++;
    last_edge = edges_at[oldest] = now;
    oldest = oldest + 1 == EDGES ? 0 : oldest + 1;
}

static void finish(uint16_t at, uint32_t middle, uint32_t *sum)
{
    /* Asked at every sample, so that the ticks never come round to an old edge. */
    if (edges && ticks_at(at) - last_edge > SILENCE_TICKS)
        edges = span = 0;
    latest.seq++; /* here and not when it is sent: a sample that nobody sends is missed */
    latest.micros = middle;
    latest.span = span;
    latest.code[0] = sum[0] >> plan.shift;
    latest.code[1] = sum[1] >> plan.shift;
    sum[0] = sum[1] = 0;
    fresh = true;
    plan = wanted;
}

/* A slot begins: the conversion of the slot before is done, the next one starts. `at` is the moment
   set for it, which does not move when this interrupt comes late. */
ISR(TIMER1_COMPA_vect)
{
    static uint16_t slot;
    static uint32_t sum[2], middle;
    uint16_t at = OCR1A, code = ADC, before = slot;
    if (++slot == plan.slots)
        slot = 0;
    ADMUX = _BV(REFS0) | sensor_of(slot);
    ADCSRA |= _BV(ADSC);
    uint16_t soonest = TCNT1 + CONVERSION_TICKS;
    sum[sensor_of(before)] += code;
    if (slot == plan.slots / 2)
        middle = micros_at(at);
    if (slot == 0)
        finish(at, middle, sum);
    uint16_t next = at + plan.slot_ticks + (slot + 1 == plan.slots ? plan.spare_ticks : 0);
    OCR1A = (int16_t)(next - soonest) < 0 ? soonest : next;
}

void sampling_start(void)
{
    plan = wanted = plan_for(FIRST_HZ);
    latest.seq = FIRST_SEQ - 1;
    PORTB |= _BV(PORTB0);            /* pull-up on ICP1: an open lead gives no edges */
    DIDR0 = _BV(ADC0D) | _BV(ADC1D); /* no digital inputs on the analogue pins */
    ADMUX = _BV(REFS0);              /* AVcc, with a capacitor on AREF; sensor 1 on ADC0 */
    ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0); /* F_CPU / 128 */
    loop_until_bit_is_clear(ADCSRA, ADSC); /* the first one is longer than a slot */
    ADCSRA |= _BV(ADSC);                   /* slot 0 of the first sample */
    TCNT1 = 0;
    OCR1A = plan.slot_ticks;
    TIMSK1 = _BV(ICIE1) | _BV(OCIE1A) | _BV(TOIE1);
    TCCR1B = _BV(ICNC1) | (RISING_EDGE ? _BV(ICES1) : 0) | _BV(CS11); /* noise canceller, / 8 */
}

bool sampling_take(struct sample *sample)
{
    bool taken;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        taken = fresh;
        fresh = false;
        *sample = latest;
    }
    return taken;
}

void sampling_rate(uint16_t hz)
{
    struct plan p = plan_for(hz);
    __asm__ volatile("" : "+m"(p)); /* or the compiler divides with the interrupts off */
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) wanted = p;
}
