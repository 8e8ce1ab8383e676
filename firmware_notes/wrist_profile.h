/*
 * Reference packer of the wrist profile, version 1 (see wrist-profile.md beside this file).
 *
 * Portable C99: no allocation, no global state, no floating point, no assumption about byte order, alignment
 * or the size of int beyond the standard's. Every function that writes says how many bytes it wrote and
 * writes nothing when they do not fit.
 */
#ifndef WRIST_PROFILE_H
#define WRIST_PROFILE_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define WP_VERSION 1u
#define WP_HEADER_BYTES 8u
#define WP_FRAME_BYTES 12u
#define WP_AXES 6u
#define WP_MAX_FRAMES 42u
#define WP_MAX_PACKET_BYTES (WP_HEADER_BYTES + WP_MAX_FRAMES * WP_FRAME_BYTES)
#define WP_STATE_BYTES 20u
#define WP_CLOCK_BYTES 20u

/* Flags of a data packet. */
#define WP_OVERFLOW 1u    /* frames were thrown away before this packet */
#define WP_CLIPPED 2u     /* a value of this packet sits at the end of its range */
#define WP_FIRST 4u       /* its first frame is the first one sampled after a start command */
#define WP_LOW_BATTERY 8u /* the sensor will switch itself off soon */

/* Commands written to the control characteristic. */
#define WP_CONFIGURE 0x01u
#define WP_START 0x02u
#define WP_STOP 0x03u

/* ATT application errors to answer a refused command with; 0 accepts it. */
#define WP_ACCEPTED 0x00u
#define WP_REFUSED_VALUE 0x80u
#define WP_REFUSED_STATE 0x81u

typedef struct {
    uint8_t opcode;
    uint16_t rate_dhz;         /* 0.1 Hz */
    uint8_t acc_range_g;       /* +-g */
    uint16_t gyr_range_deg_s;  /* +-deg/s */
    uint8_t frames_per_packet; /* 0: the sensor decides */
} wp_command;

typedef struct {
    uint8_t streaming;
    uint16_t rate_dhz;
    uint8_t acc_range_g;
    uint8_t frames_per_packet;
    uint16_t gyr_range_deg_s;
    uint16_t filter_dhz; /* -3 dB frequency of the anti-alias filter, 0.1 Hz */
    uint16_t queue_frames;
    uint32_t dropped_frames;
    uint16_t temperature_ck; /* 0.01 K; 0: not said */
    uint8_t acc_ranges;      /* bit k: +-2 * 2^k g, k = 0..6; 0: not said */
    uint8_t gyr_ranges;      /* bit k: +-125 * 2^k deg/s, k = 0..7; 0: not said */
} wp_state;

typedef struct {
    uint32_t boot;       /* random, drawn at power-up */
    uint64_t uptime_us;
    uint64_t next_frame;
} wp_clock;

/* Frames that fit in one notification at this ATT_MTU; 0 when not even one does. */
size_t wp_frames_that_fit(uint16_t att_mtu);

/* Writes a data packet of n frames (1..WP_MAX_FRAMES), 6 n values one frame after the other; returns its length, 0
 * when it does not fit. Sets WP_CLIPPED itself where a value sits at an end of its range. */
size_t wp_pack_data(uint8_t *out, size_t capacity, uint8_t flags, uint16_t index, uint32_t time_us,
                    const int16_t *frames, size_t n);

/* Write the readable values of the control and clock characteristics; return their length or 0. */
size_t wp_pack_state(uint8_t *out, size_t capacity, const wp_state *state);
size_t wp_pack_clock(uint8_t *out, size_t capacity, const wp_clock *clock);

/* Reads a command; returns WP_ACCEPTED, or WP_REFUSED_VALUE when the bytes are no command. Whether the
 * values are possible on this sensor is for the firmware to judge. */
uint8_t wp_read_command(const uint8_t *data, size_t length, wp_command *command);

/*
 * Batch: collects frames into a packet. The buffer is the caller's and stays the caller's; send it when
 * wp_batch_add or wp_batch_flush returns a length, before adding the next frame.
 */
typedef struct {
    uint8_t *buffer;
    size_t capacity;
    size_t frames_per_packet;
    size_t n;
    uint16_t index; /* number of the next frame */
    uint32_t dropped_frames;
    uint8_t pending_flags; /* for the next packet that is opened */
    uint8_t standing_flags; /* for every packet: WP_LOW_BATTERY once it was set */
} wp_batch;

/* Starts a batch; returns 0 when the buffer cannot hold even one frame. A frames_per_packet that does not
 * fit is lowered to what does. The first packet carries WP_FIRST. */
int wp_batch_start(wp_batch *batch, uint8_t *buffer, size_t capacity, size_t frames_per_packet,
                   uint16_t first_index);

/* Adds a frame sampled at time_us; returns the packet's length when it is full, otherwise 0. */
size_t wp_batch_add(wp_batch *batch, uint32_t time_us, const int16_t frame[WP_AXES]);

/* Closes a packet that is not full; returns its length, 0 when it is empty. */
size_t wp_batch_flush(wp_batch *batch);

/* Tells the batch that `frames` frames were sampled but thrown away. Numbers go on, so the loss is seen; the
 * next packet carries WP_OVERFLOW. Returns the length of an unfinished packet that must be sent first (frames
 * of one packet are consecutive), otherwise 0. */
size_t wp_batch_drop(wp_batch *batch, uint32_t frames);

/* Sets WP_LOW_BATTERY on every packet from the next one on. */
void wp_batch_low_battery(wp_batch *batch);

/*
 * Queue of section 7: a ring of frames in memory of the caller's. When it is full the oldest frame goes, and is
 * counted. Put frames in as they are sampled, take packets out as the radio accepts them; a packet stays in the
 * queue until wp_queue_sent, so that a notification the stack refused is simply built again, with the same flags.
 */
typedef struct {
    int16_t counts[WP_AXES];
    uint32_t time_us;
} wp_frame;

typedef struct {
    wp_frame *frames;
    size_t capacity;
    size_t first; /* place of the oldest frame */
    size_t n;
    uint64_t next_frame; /* number of the frame that will be sampled next; since power-up */
    uint64_t session;    /* number of the first frame after the last start */
    uint32_t dropped_frames; /* since the last start */
    uint8_t overflow;        /* frames went since the last packet that was sent */
    uint8_t low_battery;     /* yours to set: WP_LOW_BATTERY on every packet from then on */
} wp_queue;

/* At power-up. */
void wp_queue_init(wp_queue *queue, wp_frame *frames, size_t capacity);

/* At a configure command: empties the queue; numbers go on. */
void wp_queue_clear(wp_queue *queue);

/* At a start command: the next frame is the first of a session. What an earlier one left is still sent before it. */
void wp_queue_start(wp_queue *queue);

/* Adds a sampled frame. */
void wp_queue_put(wp_queue *queue, uint32_t time_us, const int16_t counts[WP_AXES]);

/* Builds the next packet of up to frames_per_packet frames into out, without taking them out; returns its length and
 * their number in *n, 0 when fewer frames wait and `flush` is 0, or when not even one fits. Frames of two sessions
 * never share a packet. */
size_t wp_queue_packet(const wp_queue *queue, uint8_t *out, size_t capacity, size_t frames_per_packet, int flush,
                       size_t *n);

/* The stack has accepted the packet of n frames that begins at frame number `index`, as wp_queue_packet wrote it.
 * Frames that were thrown away meanwhile are not taken out twice. */
void wp_queue_sent(wp_queue *queue, uint16_t index, size_t n);

#ifdef __cplusplus
}
#endif

#endif
