#include <stdio.h>
#include <string.h>
#include "trivet_device.h"

/* Replays whole cooks from text files: frames in, what is said and every change out. Stops
   at the first difference. For a host: the device itself needs nothing of this file. */

static trivet_device device;
static uint16_t last[TRIVET_HEADS][TRIVET_MOST_PIXELS];
static uint16_t frame[TRIVET_MOST_PIXELS];
static trivet_change changes[TRIVET_MOST_CHANGES];
static int32_t pending, taken;
static long frames, readings, alerts;

static int fail(const char *what, long line)
{
    printf("line %ld: %s differs\n", line, what);
    return 1;
}

/* Reads one frame as differences to the one before; returns 0 if the text is not one. */
static int read_pixels(FILE *in, int32_t head)
{
    int32_t p;
    for (p = 0; p < trivet_heads[head].pixels; p++) {
        int32_t value = 0, step, shift = 0, digit;
        do {
            digit = fgetc(in) - 48;
            if (digit < 0 || digit > 63 || shift > 15) {
                return 0;
            }
            value |= (digit & 31) << shift;
            shift += 5;
        } while (digit > 31);
        step = value % 2 ? -(value + 1) / 2 : value / 2;
        last[head][p] = (uint16_t)(last[head][p] + step);
        frame[p] = last[head][p];
    }
    return fgetc(in) == '\n';
}

static int read_frame(FILE *in, const char *text)
{
    long head, housing;
    long long ms, awake;
    if (sscanf(text, "frame %ld %lld %ld %lld", &head, &ms, &housing, &awake) != 4 || head < 0
        || head >= TRIVET_HEADS || !read_pixels(in, (int32_t)head)) {
        return 0;
    }
    trivet_device_frame(&device, (int32_t)head, frame, ms, (uint16_t)housing, awake);
    frames++;
    return 1;
}

static int read_told(const char *text)
{
    int n[6];
    trivet_told told;
    if (sscanf(text, "told %d %d %d %d %d %d", &n[0], &n[1], &n[2], &n[3], &n[4], &n[5]) != 6
        || n[0] < 0 || n[0] >= TRIVET_BURNERS) {
        return 0;
    }
    told.pan = (uint8_t)n[1];
    told.contents = (uint8_t)n[2];
    told.band = (uint8_t)n[3];
    told.oil = (uint8_t)n[4];
    told.uses = (uint8_t)n[5];
    trivet_device_tell(&device, n[0], &told);
    return 1;
}

static int read_step(const char *text)
{
    long long ms;
    int charge, loss, link, person;
    trivet_known known;
    if (sscanf(text, "step %lld %d %d %d %d", &ms, &charge, &loss, &link, &person) != 5) {
        return 0;
    }
    known.charge = (uint16_t)charge;
    known.window_loss = (uint16_t)loss;
    known.link = (uint8_t)link;
    known.person = (uint8_t)person;
    pending = trivet_device_step(&device, ms, &known, changes);
    taken = 0;
    return 1;
}

static int same_said(const char *text)
{
    const trivet_said *s;
    unsigned long n[11];
    if (sscanf(text, "said %lu %lu %lu %lu %lu %lu %lu %lu %lu %lu %lu", &n[0], &n[1], &n[2],
               &n[3], &n[4], &n[5], &n[6], &n[7], &n[8], &n[9], &n[10])
            != 11
        || n[0] >= TRIVET_BURNERS) {
        return 0;
    }
    s = &device.said[n[0]];
    readings++;
    return s->reported == n[1] && s->half == n[2] && s->hottest == n[3] && s->spread == n[4]
           && s->apparent == n[5] && s->flags == n[6] && s->of == n[7] && s->present == n[8]
           && s->heat_on == n[9] && s->open == n[10];
}

static int same_alert(const char *text)
{
    const trivet_change *c = &changes[taken];
    int unit, alert, what;
    long long left, low, high, rate;
    if (sscanf(text, "alert %d %d %d %lld %lld %lld %lld", &unit, &alert, &what, &left, &low,
               &high, &rate)
            != 7
        || taken >= pending) {
        return 0;
    }
    taken++;
    alerts++;
    return c->unit == unit && c->alert == alert && c->what == what && c->left.left_ms == left
           && c->left.low_ms == low && c->left.high_ms == high && c->left.rate_mkps == rate;
}

/* One line; returns what is wrong with it, null if nothing is. */
static const char *taken_line(FILE *in, const char *text)
{
    long long ms;
    if (strncmp(text, "alert ", 6) == 0) {
        return same_alert(text) ? NULL : "an alert's change";
    }
    if (strncmp(text, "said ", 5) == 0) {
        return same_said(text) ? NULL : "what is said of a burner";
    }
    if (taken != pending) {
        return "the number of changes before it";
    }
    if (strncmp(text, "frame ", 6) == 0) {
        return read_frame(in, text) ? NULL : "the form of a frame";
    }
    if (strncmp(text, "step ", 5) == 0) {
        return read_step(text) ? NULL : "the form of a step";
    }
    if (sscanf(text, "blind %lld", &ms) == 1) {
        pending = trivet_device_blind(&device, ms, changes);
        taken = 0;
        return NULL;
    }
    if (strncmp(text, "told ", 5) == 0) {
        return read_told(text) ? NULL : "what is told";
    }
    return "the kind of line";
}

static int replay(const char *name)
{
    char text[256];
    long line = 0;
    FILE *in = fopen(name, "r");
    if (!in) {
        printf("%s cannot be read\n", name);
        return 1;
    }
    trivet_device_start(&device);
    memset(last, 0, sizeof last);
    pending = taken = 0;
    while (fgets(text, sizeof text, in)) {
        const char *wrong;
        line++;
        if (text[0] == '#' || strncmp(text, "cook ", 5) == 0) {
            continue;
        }
        if (strncmp(text, "end", 3) == 0) {
            fclose(in);
            return taken == pending ? 0 : fail("the last number of changes", line);
        }
        wrong = taken_line(in, text);
        line += strncmp(text, "frame ", 6) == 0;
        if (wrong) {
            fclose(in);
            printf("%s, ", name);
            return fail(wrong, line);
        }
    }
    fclose(in);
    printf("%s breaks off, ", name);
    return fail("its end", line);
}

int main(int count, char **names)
{
    int n;
    if (count < 2) {
        printf("usage: trivet_cook_check cook_01.txt ...\n");
        return 2;
    }
    for (n = 1; n < count; n++) {
        if (replay(names[n]) != 0) {
            return 1;
        }
    }
    printf("%d cooks: %ld frames, %ld readings, %ld alert changes match%s\n", count - 1, frames,
           readings, alerts, TRIVET_UNPROVEN ? " (UNPROVEN)" : "");
    return 0;
}
