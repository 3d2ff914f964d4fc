// Requests to the world outside the chip: five words, a number that starts the request, and the answer (`tests/board/cpu.py`).
#include <stdint.h>

enum request {
    WRITE_OUT = 1, END, KIND, OPEN, READ, WRITE, CLOSE, SEEK, REMOVE, RENAME, MAKE_FOLDER, ENTRY, SIZE, BLOCKS_FREE,
    CRC32, HASH_NEW, HASH_UPDATE, HASH_DIGEST, RANDOM, HEAP, NOW_US, TICK, REGISTERS_IN, REGISTERS_OUT, FEED, RESET,
    RESET_CAUSE, PIN_SET, PIN_READ, BUS_WRITE, BUS_READ, DMA_SETUP, BYTE_WAITS, BYTE_IN, TEXT, CLEAR,
};

#define HOST ((volatile uint32_t *)0x60000000)

static inline int32_t host5(enum request what, uint32_t a, uint32_t b, uint32_t c, uint32_t d, uint32_t e) {
    HOST[1] = a;
    HOST[2] = b;
    HOST[3] = c;
    HOST[4] = d;
    HOST[5] = e;
    HOST[0] = what;
    return HOST[6];
}

#define host(what, a, b, c) host5(what, (uint32_t)(a), (uint32_t)(b), (uint32_t)(c), 0, 0)
