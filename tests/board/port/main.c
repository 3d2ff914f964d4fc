// Entry of the emulated board: MicroPython's core, its heap at a given place, `/main.py`.
#include <string.h>

#include "py/builtin.h"
#include "py/compile.h"
#include "py/gc.h"
#include "py/mphal.h"
#include "py/runtime.h"
#include "py/stackctrl.h"
#include "shared/runtime/gchelper.h"

#include "host.h"

extern char stack_top, stack_low;
void chip_init(void);

int main(void *heap, void *heap_end) {
    mp_stack_set_top(&stack_top);
    mp_stack_set_limit(&stack_top - &stack_low - 256);
    gc_init(heap, heap_end);
    mp_init();
    chip_init();
    mp_obj_list_append(mp_sys_path, MP_OBJ_NEW_QSTR(MP_QSTR_));
    mp_obj_list_append(mp_sys_path, MP_OBJ_NEW_QSTR(qstr_from_str("/lib")));
    int code = 0;
    nlr_buf_t nlr;
    if (nlr_push(&nlr) == 0) {
        mp_lexer_t *lexer = mp_lexer_new_from_file(qstr_from_str("/main.py"));
        qstr name = lexer->source_name;
        mp_parse_tree_t tree = mp_parse(lexer, MP_PARSE_FILE_INPUT);
        mp_call_function_0(mp_compile(&tree, name, false));
        nlr_pop();
    } else {
        mp_obj_print_exception(&mp_plat_print, MP_OBJ_FROM_PTR(nlr.ret_val));
        code = 1;
    }
    host(END, code, 0, 0);
    for (;;) {
    }
}

void gc_collect(void) {
    gc_collect_start();
    gc_helper_collect_regs_and_stack();
    gc_collect_end();
}

void nlr_jump_fail(void *value) {
    (void)value;
    host(END, 2, 0, 0);
    for (;;) {
    }
}

mp_uint_t mp_hal_ticks_us(void) { return host(NOW_US, 0, 0, 0); }
mp_uint_t mp_hal_ticks_ms(void) { return mp_hal_ticks_us() / 1000; }
int mp_hal_stdin_rx_chr(void) { return host(BYTE_IN, 0, 0, 0); }
uintptr_t mp_hal_stdio_poll(uintptr_t flags) { return (void)flags, 0; }
mp_uint_t mp_hal_stdout_tx_strn(const char *text, size_t length) { return host(WRITE_OUT, text, length, 0); }
void mp_hal_stdout_tx_strn_cooked(const char *text, size_t length) { host(WRITE_OUT, text, length, 0); }
void mp_hal_stdout_tx_str(const char *text) { host(WRITE_OUT, text, strlen(text), 0); }
void *_sbrk(int size) { return (void)size, (void *)-1; }  // nothing may use C's own heap
