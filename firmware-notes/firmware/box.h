/* What the parts offer each other. ATmega328P at 16 MHz; what a build may choose stands in the
   Makefile. Titles in quotation marks are chapters of the chip's data sheet, from memory. */
#pragma once
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define BOX_VERSION "1"
#define LEAST_HZ 10
#define MOST_HZ 250
#define CODE_BITS 14 /* at every rate: the mean of the conversions of 10 bits, times 16 */

struct sample {
    uint16_t seq;     /* one more for every sample taken, sent or not */
    uint32_t micros;  /* moment of the middle conversion, us */
    uint32_t span;    /* time of two turns, ticks of half a us; 0 without a reading */
    uint16_t code[2]; /* the two sensors, 0 to 16368 */
};
void sampling_start(void);
bool sampling_take(struct sample *sample); /* the newest, once; false when nothing new is there */
void sampling_rate(uint16_t hz);           /* LEAST_HZ to MOST_HZ, from the next sample on */

/* A sentence is put together from texts in flash and numbers, then sent whole or not at all. */
void wire_start(void);
void wire_begin(const char *words);
void wire_text(const char *words);
void wire_number(uint32_t number);
bool wire_send(void);         /* false: no room, nothing was sent */
const char *wire_heard(void); /* words of a sentence that came in sound, bare; else NULL */
