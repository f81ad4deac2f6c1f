/* Sentences on the wire: `$`, words with commas between, `*`, the XOR of what is between, line feed. */
#include "box.h"
#include <ctype.h>

/* At double speed, to the nearest ("The Baud Rate Generator"): 115,200 becomes 117,647, 2.1 % fast. A
   receiver looks at the middle of the stop bit 9.5 bits after the start, and is there 0.20 bits out
   of the 0.5 that would break it. */
#define DIVIDER ((F_CPU / 4 / BAUD - 1) / 2)

/* 256 places: indices of eight bits come round by themselves. One place stays free. */
static char outgoing[256], incoming[256], sentence[72];
static volatile uint8_t out_end, out_begin, in_end;
static uint8_t in_begin, length;

void wire_start(void)
{
    UCSR0A = _BV(U2X0);
    UBRR0 = DIVIDER;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00); /* 8 bits, no parity, one stop bit */
    UCSR0B = _BV(RXCIE0) | _BV(RXEN0) | _BV(TXEN0);
}

ISR(USART_UDRE_vect)
{
    UDR0 = outgoing[out_begin++];
    if (out_begin == out_end)
        UCSR0B &= ~_BV(UDRIE0);
}

ISR(USART_RX_vect)
{
    incoming[in_end++] = UDR0; /* the main loop is never 22 ms away, the time of 256 characters */
}

static void put(char c)
{
    if (length < sizeof sentence - 4) /* room for the tail */
        sentence[length++] = c;
}

static char hex(uint8_t nibble)
{
    return nibble < 10 ? '0' + nibble : 'A' - 10 + nibble;
}

static uint8_t xor_of(const char *text, uint8_t n)
{
    uint8_t x = 0;
    while (n--)
        x ^= *text++;
    return x;
}

void wire_text(const char *words)
{
    put(',');
    for (char c; (c = pgm_read_byte(words)); words++)
        put(c);
}

void wire_begin(const char *words)
{
    length = 0;
    wire_text(words);
    sentence[0] = '$';
}

void wire_number(uint32_t number)
{
    char digits[11];
    put(',');
    for (const char *d = ultoa(number, digits, 10); *d; d++)
        put(*d);
}

bool wire_send(void)
{
    uint8_t x = xor_of(sentence + 1, length - 1), room = out_begin - out_end - 1, end = out_end;
    const char tail[] = { '*', hex(x >> 4), hex(x & 15), '\n' };
    if (room < length + sizeof tail)
        return false; /* never wait for the wire: samples would be late */
    memcpy(sentence + length, tail, sizeof tail);
    for (uint8_t i = 0; i < length + sizeof tail; i++)
        outgoing[end++] = sentence[i];
    out_end = end;
    UCSR0B |= _BV(UDRIE0); /* safe: the interrupt cannot send a whole sentence in between */
    return true;
}

/* True when `text` ends in * and the XOR of what stands before it; the * then becomes its end. */
static bool sound(char *text)
{
    char *star = strchr(text, '*');
    if (!star || strlen(star) != 3)
        return false;
    uint8_t x = xor_of(text, star - text);
    *star = 0;
    return toupper(star[1]) == hex(x >> 4) && toupper(star[2]) == hex(x & 15);
}

const char *wire_heard(void)
{
    static char words[24]; /* what is longer is no command */
    static uint8_t n;
    static bool inside;
    while (in_begin != in_end) {
        char c = incoming[in_begin++];
        bool ended = inside && (c == '\r' || c == '\n');
        inside = c == '$' || (inside && !ended && n < sizeof words - 1);
        if (inside && c != '$')
            words[n++] = c;
        else if (!ended)
            n = 0;
        words[n] = 0;
        if (ended && sound(words))
            return words;
    }
    return NULL;
}
