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

/* Writes a data packet of n frames (1..WP_MAX_FRAMES); returns its length, 0 when it does not fit. */
size_t wp_pack_data(uint8_t *out, size_t capacity, uint8_t flags, uint16_t index, uint32_t time_us,
                    const int16_t (*frames)[WP_AXES], size_t n);

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

/* Sets WP_LOW_BATTERY on the next packet. */
void wp_batch_low_battery(wp_batch *batch);

#ifdef __cplusplus
}
#endif

#endif
