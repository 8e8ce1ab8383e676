#include "wrist_profile.h"

#include <string.h>

static void put_u16(uint8_t *out, uint16_t value)
{
    out[0] = (uint8_t)(value & 0xFFu);
    out[1] = (uint8_t)(value >> 8);
}

static void put_u32(uint8_t *out, uint32_t value)
{
    put_u16(out, (uint16_t)(value & 0xFFFFu));
    put_u16(out + 2, (uint16_t)(value >> 16));
}

static void put_u64(uint8_t *out, uint64_t value)
{
    put_u32(out, (uint32_t)(value & 0xFFFFFFFFu));
    put_u32(out + 4, (uint32_t)(value >> 32));
}

static uint16_t get_u16(const uint8_t *in)
{
    return (uint16_t)(in[0] | (uint16_t)((unsigned)in[1] << 8));
}

static void put_header(uint8_t *out, uint8_t flags, size_t n, uint16_t index, uint32_t time_us)
{
    out[0] = (uint8_t)((WP_VERSION << 4) | (flags & 0x0Fu));
    out[1] = (uint8_t)n;
    put_u16(out + 2, index);
    put_u32(out + 4, time_us);
}

/* Writes one frame; returns WP_CLIPPED when a value sits at an end of the range. */
static uint8_t put_frame(uint8_t *out, const int16_t frame[WP_AXES])
{
    uint8_t flags = 0;
    size_t axis;

    for (axis = 0; axis < WP_AXES; axis++) {
        /* Conversion to unsigned is modulo 2^16, which is two's complement on the wire. */
        put_u16(out + 2 * axis, (uint16_t)frame[axis]);
        if (frame[axis] == INT16_MAX || frame[axis] == INT16_MIN) {
            flags = WP_CLIPPED;
        }
    }
    return flags;
}

size_t wp_frames_that_fit(uint16_t att_mtu)
{
    size_t frames;

    if (att_mtu < 3u + WP_HEADER_BYTES + WP_FRAME_BYTES) {
        return 0;
    }
    frames = ((size_t)att_mtu - 3u - WP_HEADER_BYTES) / WP_FRAME_BYTES;
    return frames < WP_MAX_FRAMES ? frames : WP_MAX_FRAMES;
}

size_t wp_pack_data(uint8_t *out, size_t capacity, uint8_t flags, uint16_t index, uint32_t time_us,
                    const int16_t *frames, size_t n)
{
    size_t length, k;

    if (n < 1 || n > WP_MAX_FRAMES) {
        return 0;
    }
    length = WP_HEADER_BYTES + n * WP_FRAME_BYTES;
    if (length > capacity) {
        return 0;
    }
    flags = (uint8_t)(flags & ~WP_CLIPPED);
    for (k = 0; k < n; k++) {
        flags = (uint8_t)(flags | put_frame(out + WP_HEADER_BYTES + k * WP_FRAME_BYTES, frames + k * WP_AXES));
    }
    put_header(out, flags, n, index, time_us);
    return length;
}

size_t wp_pack_state(uint8_t *out, size_t capacity, const wp_state *state)
{
    if (capacity < WP_STATE_BYTES) {
        return 0;
    }
    out[0] = (uint8_t)WP_VERSION;
    out[1] = state->streaming ? 1u : 0u;
    put_u16(out + 2, state->rate_dhz);
    out[4] = state->acc_range_g;
    out[5] = state->frames_per_packet;
    put_u16(out + 6, state->gyr_range_deg_s);
    put_u16(out + 8, state->filter_dhz);
    put_u16(out + 10, state->queue_frames);
    put_u32(out + 12, state->dropped_frames);
    put_u16(out + 16, state->temperature_ck);
    out[18] = state->acc_ranges;
    out[19] = state->gyr_ranges;
    return WP_STATE_BYTES;
}

size_t wp_pack_clock(uint8_t *out, size_t capacity, const wp_clock *clock)
{
    if (capacity < WP_CLOCK_BYTES) {
        return 0;
    }
    put_u32(out, clock->boot);
    put_u64(out + 4, clock->uptime_us);
    put_u64(out + 12, clock->next_frame);
    return WP_CLOCK_BYTES;
}

uint8_t wp_read_command(const uint8_t *data, size_t length, wp_command *command)
{
    memset(command, 0, sizeof *command);
    if (length == 1 && (data[0] == WP_START || data[0] == WP_STOP)) {
        command->opcode = data[0];
        return WP_ACCEPTED;
    }
    if (length == 7 && data[0] == WP_CONFIGURE) {
        command->opcode = data[0];
        command->rate_dhz = get_u16(data + 1);
        command->acc_range_g = data[3];
        command->gyr_range_deg_s = get_u16(data + 4);
        command->frames_per_packet = data[6];
        return command->rate_dhz && command->acc_range_g && command->gyr_range_deg_s ? WP_ACCEPTED
                                                                                     : WP_REFUSED_VALUE;
    }
    return WP_REFUSED_VALUE;
}

int wp_batch_start(wp_batch *batch, uint8_t *buffer, size_t capacity, size_t frames_per_packet,
                   uint16_t first_index)
{
    size_t fit;

    memset(batch, 0, sizeof *batch);
    if (capacity < WP_HEADER_BYTES + WP_FRAME_BYTES) {
        return 0;
    }
    fit = (capacity - WP_HEADER_BYTES) / WP_FRAME_BYTES;
    if (fit > WP_MAX_FRAMES) {
        fit = WP_MAX_FRAMES;
    }
    batch->buffer = buffer;
    batch->capacity = capacity;
    batch->frames_per_packet = (frames_per_packet < 1 || frames_per_packet > fit) ? fit : frames_per_packet;
    batch->index = first_index;
    batch->pending_flags = WP_FIRST;
    return 1;
}

size_t wp_batch_add(wp_batch *batch, uint32_t time_us, const int16_t frame[WP_AXES])
{
    uint8_t flags;

    if (batch->n == 0) {
        put_header(batch->buffer, (uint8_t)(batch->pending_flags | batch->standing_flags), 0, batch->index,
                   time_us);
        batch->pending_flags = 0;
    }
    flags = put_frame(batch->buffer + WP_HEADER_BYTES + batch->n * WP_FRAME_BYTES, frame);
    batch->buffer[0] = (uint8_t)(batch->buffer[0] | flags);
    batch->n++;
    batch->index = (uint16_t)(batch->index + 1u);
    return batch->n >= batch->frames_per_packet ? wp_batch_flush(batch) : 0;
}

size_t wp_batch_flush(wp_batch *batch)
{
    size_t length;

    if (batch->n == 0) {
        return 0;
    }
    batch->buffer[1] = (uint8_t)batch->n;
    length = WP_HEADER_BYTES + batch->n * WP_FRAME_BYTES;
    batch->n = 0;
    return length;
}

size_t wp_batch_drop(wp_batch *batch, uint32_t frames)
{
    size_t length = wp_batch_flush(batch);

    if (frames > 0) {
        batch->index = (uint16_t)(batch->index + frames);
        batch->dropped_frames += frames;
        batch->pending_flags = (uint8_t)(batch->pending_flags | WP_OVERFLOW);
    }
    return length;
}

void wp_batch_low_battery(wp_batch *batch)
{
    batch->standing_flags = WP_LOW_BATTERY;
}

void wp_queue_init(wp_queue *queue, wp_frame *frames, size_t capacity)
{
    memset(queue, 0, sizeof *queue);
    queue->frames = frames;
    queue->capacity = capacity;
}

void wp_queue_clear(wp_queue *queue)
{
    queue->n = 0;
    queue->overflow = 0;
}

void wp_queue_start(wp_queue *queue)
{
    queue->session = queue->next_frame;
    queue->dropped_frames = 0;
}

void wp_queue_put(wp_queue *queue, uint32_t time_us, const int16_t counts[WP_AXES])
{
    wp_frame *place;

    queue->next_frame++;
    if (queue->capacity == 0) {
        queue->dropped_frames++;
        queue->overflow = 1;
        return;
    }
    if (queue->n == queue->capacity) {
        queue->first = (queue->first + 1) % queue->capacity;
        queue->n--;
        queue->dropped_frames++;
        queue->overflow = 1;
    }
    place = queue->frames + (queue->first + queue->n) % queue->capacity;
    memcpy(place->counts, counts, sizeof place->counts);
    place->time_us = time_us;
    queue->n++;
}

size_t wp_queue_packet(const wp_queue *queue, uint8_t *out, size_t capacity, size_t frames_per_packet, int flush,
                       size_t *n)
{
    uint64_t oldest = queue->next_frame - queue->n;
    size_t fit, waiting = queue->n, k;
    uint8_t flags = 0;

    *n = 0;
    if (capacity < WP_HEADER_BYTES + WP_FRAME_BYTES) {
        return 0;
    }
    fit = (capacity - WP_HEADER_BYTES) / WP_FRAME_BYTES;
    if (fit > WP_MAX_FRAMES) {
        fit = WP_MAX_FRAMES;
    }
    if (frames_per_packet >= 1 && frames_per_packet < fit) {
        fit = frames_per_packet;
    }
    if (oldest < queue->session && queue->session - oldest < waiting) {
        waiting = (size_t)(queue->session - oldest);
        flush = 1;
    }
    if (waiting == 0 || (waiting < fit && !flush)) {
        return 0;
    }
    if (waiting < fit) {
        fit = waiting;
    }
    for (k = 0; k < fit; k++) {
        flags = (uint8_t)(flags | put_frame(out + WP_HEADER_BYTES + k * WP_FRAME_BYTES,
                                            queue->frames[(queue->first + k) % queue->capacity].counts));
    }
    if (queue->overflow) {
        flags = (uint8_t)(flags | WP_OVERFLOW);
    }
    if (queue->low_battery) {
        flags = (uint8_t)(flags | WP_LOW_BATTERY);
    }
    if (oldest == queue->session) {
        flags = (uint8_t)(flags | WP_FIRST);
    }
    put_header(out, flags, fit, (uint16_t)(oldest & 0xFFFFu), queue->frames[queue->first].time_us);
    *n = fit;
    return WP_HEADER_BYTES + fit * WP_FRAME_BYTES;
}

void wp_queue_sent(wp_queue *queue, uint16_t index, size_t n)
{
    uint16_t oldest = (uint16_t)((queue->next_frame - queue->n) & 0xFFFFu);
    uint16_t gone = (uint16_t)(oldest - index); /* thrown away while the packet was on its way */

    if (gone == 0) {
        queue->overflow = 0;
    }
    if (n <= gone) {
        return;
    }
    n -= gone;
    if (n > queue->n) {
        n = queue->n;
    }
    queue->first = (queue->first + n) % (queue->capacity ? queue->capacity : 1);
    queue->n -= n;
}
