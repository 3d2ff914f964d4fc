// Configuration of MicroPython's core as the RP2 port has it, as far as memory and the loading of compiled modules depend on it.
#include <stdint.h>
#include <stdlib.h>
#include <alloca.h>

typedef long mp_off_t;
void tick_if_due(void);

#define MICROPY_CONFIG_ROM_LEVEL (MICROPY_CONFIG_ROM_LEVEL_EXTRA_FEATURES)
#define MICROPY_PERSISTENT_CODE_LOAD (1)
#define MICROPY_HAS_FILE_READER (1)
#define MICROPY_EMIT_THUMB (1)
#define MICROPY_EMIT_THUMB_ARMV7M (0)
#define MICROPY_EMIT_INLINE_THUMB (1)
#define MICROPY_EMIT_INLINE_THUMB_FLOAT (0)
#define MICROPY_OPT_COMPUTED_GOTO (1)
#define MICROPY_QSTR_BYTES_IN_HASH (1)
#define MICROPY_ALLOC_PATH_MAX (128)
#define MICROPY_ENABLE_GC (1)
#define MICROPY_ENABLE_FINALISER (1)
#define MICROPY_STACK_CHECK (1)
#define MICROPY_ENABLE_EMERGENCY_EXCEPTION_BUF (1)
#define MICROPY_LONGINT_IMPL (MICROPY_LONGINT_IMPL_MPZ)
#define MICROPY_FLOAT_IMPL (MICROPY_FLOAT_IMPL_FLOAT)
#define MICROPY_SCHEDULER_DEPTH (8)
#define MICROPY_ENABLE_SOURCE_LINE (1)
#define MICROPY_ENABLE_EXTERNAL_IMPORT (1)
#define MICROPY_KBD_EXCEPTION (1)
#define MICROPY_PY_SYS_STDFILES (1)
#define MICROPY_PY_SYS_STDIO_BUFFER (1)
#define MICROPY_PY_SYS_PLATFORM "rp2"
#define MICROPY_HW_BOARD_NAME "emulated board"
#define MICROPY_HW_MCU_NAME "cortex-m0plus"
#define MP_STATE_PORT MP_STATE_VM
#define MP_SSIZE_MAX (0x7fffffff)
#define MICROPY_MAKE_POINTER_CALLABLE(p) ((void *)((mp_uint_t)(p) | 1))
#define MICROPY_VM_HOOK_LOOP tick_if_due();
#define MICROPY_VM_HOOK_RETURN tick_if_due();

// Modules of the port that `files.c` and `chip.c` provide in a short form, or that the firmware does not use.
#define MICROPY_VFS (0)
#define MICROPY_READER_VFS (0)
#define MICROPY_HELPER_REPL (0)
#define MICROPY_REPL_EVENT_DRIVEN (0)
#define MICROPY_MODULE_FROZEN (0)
#define MICROPY_PY_ASYNCIO (0)
#define MICROPY_PY_BINASCII (0)
#define MICROPY_PY_BUILTINS_HELP (0)
#define MICROPY_PY_BUILTINS_INPUT (0)
#define MICROPY_PY_DEFLATE (0)
#define MICROPY_PY_FRAMEBUF (0)
#define MICROPY_PY_HASHLIB (0)
#define MICROPY_PY_HEAPQ (0)
#define MICROPY_PY_JSON (0)
#define MICROPY_PY_MACHINE (0)
#define MICROPY_PY_OS (0)
#define MICROPY_PY_PLATFORM (0)
#define MICROPY_PY_RANDOM (0)
#define MICROPY_PY_RE (0)
#define MICROPY_PY_SELECT (0)
#define MICROPY_PY_TIME (0)
#define MICROPY_PY_UCTYPES (0)
#define MICROPY_PY_VFS (0)
