/* Drives the reference packer from lines on stdin, answers in hexadecimal; for the tests beside it. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "wrist_profile.h"

static void say(const uint8_t *data, size_t length)
{
    size_t k;

    if (length == 0) {
        fputs("-", stdout);
    }
    for (k = 0; k < length; k++) {
        printf("%02x", data[k]);
    }
    putchar('\n');
    fflush(stdout);
}

static long long number(char **at)
{
    return strtoll(*at, at, 10);
}

static void read_frame(char **at, int16_t frame[WP_AXES])
{
    size_t axis;

    for (axis = 0; axis < WP_AXES; axis++) {
        frame[axis] = (int16_t)number(at);
    }
}

int main(void)
{
    static char line[8192];
    static int16_t frames[64][WP_AXES];
    uint8_t *buffer = NULL;
    wp_batch batch;
    static wp_frame ring[64];
    wp_queue queue;

    wp_queue_init(&queue, ring, 0);
    while (fgets(line, sizeof line, stdin) != NULL) {
        char *at = line + 1;
        uint8_t out[WP_MAX_PACKET_BYTES];

        if (line[0] == 'd') { /* d flags index time n values... */
            unsigned flags = (unsigned)number(&at);
            unsigned index = (unsigned)number(&at);
            uint32_t time_us = (uint32_t)number(&at);
            size_t n = (size_t)number(&at), k;
            for (k = 0; k < n && k < 64; k++) {
                read_frame(&at, frames[k]);
            }
            say(out, wp_pack_data(out, sizeof out, (uint8_t)flags, (uint16_t)index, time_us,
                                  frames[0], n));
        } else if (line[0] == 's') {
            wp_state state;
            state.streaming = (uint8_t)number(&at);
            state.rate_dhz = (uint16_t)number(&at);
            state.acc_range_g = (uint8_t)number(&at);
            state.frames_per_packet = (uint8_t)number(&at);
            state.gyr_range_deg_s = (uint16_t)number(&at);
            state.filter_dhz = (uint16_t)number(&at);
            state.queue_frames = (uint16_t)number(&at);
            state.dropped_frames = (uint32_t)number(&at);
            state.temperature_ck = (uint16_t)number(&at);
            state.acc_ranges = (uint8_t)number(&at);
            state.gyr_ranges = (uint8_t)number(&at);
            say(out, wp_pack_state(out, sizeof out, &state));
        } else if (line[0] == 'k') {
            wp_clock clock;
            clock.boot = (uint32_t)number(&at);
            clock.uptime_us = (uint64_t)number(&at);
            clock.next_frame = (uint64_t)number(&at);
            say(out, wp_pack_clock(out, sizeof out, &clock));
        } else if (line[0] == 'c') { /* c b0 b1 ...: a command, from a buffer of exactly its size */
            uint8_t data[64];
            uint8_t *exact;
            wp_command command;
            size_t n = 0;
            uint8_t verdict;
            char *end = at;
            for (;;) {
                long value = strtol(at, &end, 10);
                if (end == at || n >= sizeof data) {
                    break;
                }
                data[n++] = (uint8_t)value;
                at = end;
            }
            exact = malloc(n ? n : 1);
            if (exact == NULL) {
                return 1;
            }
            memcpy(exact, data, n);
            verdict = wp_read_command(exact, n, &command);
            free(exact);
            printf("%u %u %u %u %u %u\n", verdict, command.opcode, command.rate_dhz, command.acc_range_g,
                   command.gyr_range_deg_s, command.frames_per_packet);
            fflush(stdout);
        } else if (line[0] == 'f') {
            printf("%zu\n", wp_frames_that_fit((uint16_t)number(&at)));
            fflush(stdout);
        } else if (line[0] == 'B') { /* B capacity frames first_index */
            size_t capacity = (size_t)number(&at);
            size_t wanted = (size_t)number(&at);
            free(buffer);
            buffer = malloc(capacity ? capacity : 1);
            printf("%d\n", wp_batch_start(&batch, buffer, capacity, wanted, (uint16_t)number(&at)));
            fflush(stdout);
        } else if (line[0] == 'A') { /* A time values */
            uint32_t time_us = (uint32_t)number(&at);
            read_frame(&at, frames[0]);
            say(buffer, wp_batch_add(&batch, time_us, frames[0]));
        } else if (line[0] == 'D') {
            say(buffer, wp_batch_drop(&batch, (uint32_t)number(&at)));
        } else if (line[0] == 'F') {
            say(buffer, wp_batch_flush(&batch));
        } else if (line[0] == 'Q') { /* Q capacity next_frame: a queue as after power-up, some frames later */
            wp_queue_init(&queue, ring, (size_t)number(&at));
            queue.next_frame = (uint64_t)number(&at);
            say(NULL, 0);
        } else if (line[0] == 'X') {
            wp_queue_clear(&queue);
            say(NULL, 0);
        } else if (line[0] == 'S') {
            wp_queue_start(&queue);
            say(NULL, 0);
        } else if (line[0] == 'P') { /* P time values */
            uint32_t time_us = (uint32_t)number(&at);
            read_frame(&at, frames[0]);
            wp_queue_put(&queue, time_us, frames[0]);
            printf("%u\n", (unsigned)queue.dropped_frames);
            fflush(stdout);
        } else if (line[0] == 'N') { /* N capacity frames flush */
            size_t capacity = (size_t)number(&at);
            size_t wanted = (size_t)number(&at), n;
            uint8_t *exact = malloc(capacity ? capacity : 1);
            if (exact == NULL) {
                return 1;
            }
            say(exact, wp_queue_packet(&queue, exact, capacity, wanted, (int)number(&at), &n));
            free(exact);
        } else if (line[0] == 'T') { /* T index n */
            uint16_t index = (uint16_t)number(&at);
            wp_queue_sent(&queue, index, (size_t)number(&at));
            say(NULL, 0);
        } else if (line[0] == 'L') {
            wp_batch_low_battery(&batch);
            say(buffer, 0);
        }
    }
    free(buffer);
    return 0;
}
