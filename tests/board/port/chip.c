// The chip as the firmware sees it: `machine`, `rp2.DMA`, `select`, `framebuf`. Registers are memory that the host reads and writes.
//
// The tick runs between two bytecodes: in `machine.idle`, or once the main loop has passed EVENTS jumps and returns. So order, memory and
// stack are the chip's; times are not.
#include "py/gc.h"
#include "py/mperrno.h"
#include "py/objtuple.h"
#include "py/runtime.h"

#include "host.h"

#define EVENTS 100 // jumps and returns of the main loop in one period, about what the chip passes
#define ROW(name, object) { MP_ROM_QSTR(MP_QSTR_##name), MP_ROM_PTR(object) }
#define NUMBER(name, value) { MP_ROM_QSTR(MP_QSTR_##name), MP_ROM_INT(value) }
#define MODULE(name)                                                                                                   \
    static MP_DEFINE_CONST_DICT(name##_globals, name##_table);                                                         \
    const mp_obj_module_t name##_module = { .base = { &mp_type_module }, .globals = (mp_obj_dict_t *)&name##_globals }

MP_REGISTER_ROOT_POINTER(mp_obj_t tick_callback);

static int in_tick, held, events;

static int checked(int answer) {
    if (answer < 0) {
        mp_raise_OSError(-answer);
    }
    return answer;
}

void chip_init(void) { MP_STATE_VM(tick_callback) = MP_OBJ_NULL; }

// Tick

static void call_tick(mp_obj_t callback) {
    nlr_buf_t nlr;
    mp_sched_lock();
    gc_lock();
    if (nlr_push(&nlr) == 0) {
        mp_call_function_1(callback, mp_const_none);
        nlr_pop();
    } else {
        mp_obj_print_exception(&mp_plat_print, MP_OBJ_FROM_PTR(nlr.ret_val));
        MP_STATE_VM(tick_callback) = MP_OBJ_NULL;
    }
    gc_unlock();
    mp_sched_unlock();
}

static void tick(void) {
    if (in_tick || held) {
        return;
    }
    in_tick = 1;
    if (host(TICK, 0, 0, 0)) {
        gc_info_t info;
        gc_info(&info);
        host(HEAP, info.used, info.free, info.max_free * MICROPY_BYTES_PER_GC_BLOCK);
    }
    if (MP_STATE_VM(tick_callback) != MP_OBJ_NULL) {
        host(REGISTERS_IN, 0, 0, 0);
        call_tick(MP_STATE_VM(tick_callback));
        host(REGISTERS_OUT, 0, 0, 0);
    }
    in_tick = 0;
}

void tick_if_due(void) {
    if (++events >= EVENTS) {
        events = 0;
        tick();
    }
}

// machine

typedef struct {
    mp_obj_base_t base;
    int number;
} numbered_t;

#define NUMBER_OF(object) (((numbered_t *)MP_OBJ_TO_PTR(object))->number)

static mp_obj_t numbered_new(const mp_obj_type_t *type, size_t count, size_t named, const mp_obj_t *args) {
    (void)named;
    numbered_t *made = mp_obj_malloc(numbered_t, type);
    made->number = count && mp_obj_is_small_int(args[0]) ? MP_OBJ_SMALL_INT_VALUE(args[0]) : 0;
    return MP_OBJ_FROM_PTR(made);
}

static mp_obj_t named_arg(size_t count, size_t named, const mp_obj_t *args, qstr name, mp_obj_t otherwise) {
    for (size_t i = 0; i < named; i++) {
        if (args[count + 2 * i] == MP_OBJ_NEW_QSTR(name)) {
            return args[count + 2 * i + 1];
        }
    }
    return otherwise;
}

static mp_obj_t pin_new(const mp_obj_type_t *type, size_t count, size_t named, const mp_obj_t *args) {
    mp_obj_t pin = numbered_new(type, count, named, args);
    if (count > 1 && args[1] == MP_OBJ_NEW_SMALL_INT(1)) {
        host(PIN_SET, NUMBER_OF(pin), mp_obj_get_int(named_arg(count, named, args, MP_QSTR_value, MP_OBJ_NEW_SMALL_INT(0))), 0);
    }
    return pin;
}
static mp_obj_t pin_call(mp_obj_t self, size_t count, size_t named, const mp_obj_t *args) {
    (void)named;
    if (count) {
        host(PIN_SET, NUMBER_OF(self), mp_obj_is_true(args[0]), 0);
        return mp_const_none;
    }
    return MP_OBJ_NEW_SMALL_INT(host(PIN_READ, NUMBER_OF(self), 0, 0));
}
static const mp_rom_map_elem_t pin_table[] = { NUMBER(IN, 0), NUMBER(OUT, 1) };
static MP_DEFINE_CONST_DICT(pin_dict, pin_table);
MP_DEFINE_CONST_OBJ_TYPE(pin_type, MP_QSTR_Pin, MP_TYPE_FLAG_NONE, make_new, pin_new, call, pin_call, locals_dict, &pin_dict);
MP_DEFINE_CONST_OBJ_TYPE(adc_type, MP_QSTR_ADC, MP_TYPE_FLAG_NONE, make_new, numbered_new);
MP_DEFINE_CONST_OBJ_TYPE(spi_type, MP_QSTR_SPI, MP_TYPE_FLAG_NONE, make_new, numbered_new);

static mp_obj_t bus_write(mp_obj_t self, mp_obj_t address, mp_obj_t data) {
    mp_buffer_info_t from;
    mp_get_buffer_raise(data, &from, MP_BUFFER_READ);
    int sent = host5(BUS_WRITE, NUMBER_OF(self), mp_obj_get_int(address), (uint32_t)from.buf, from.len, 0);
    return MP_OBJ_NEW_SMALL_INT(checked(sent));
}
static MP_DEFINE_CONST_FUN_OBJ_3(bus_write_obj, bus_write);
static void bus_read(const mp_obj_t *args, void *into, size_t size) {
    checked(host5(BUS_READ, NUMBER_OF(args[0]), mp_obj_get_int(args[1]), mp_obj_get_int(args[2]), (uint32_t)into, size));
}
static mp_obj_t bus_read_into(size_t count, const mp_obj_t *args) {
    (void)count;
    mp_buffer_info_t into;
    mp_get_buffer_raise(args[3], &into, MP_BUFFER_WRITE);
    bus_read(args, into.buf, into.len);
    return mp_const_none;
}
static MP_DEFINE_CONST_FUN_OBJ_VAR_BETWEEN(bus_read_into_obj, 4, 4, bus_read_into);
static mp_obj_t bus_read_new(size_t count, const mp_obj_t *args) {
    (void)count;
    vstr_t got;
    vstr_init_len(&got, mp_obj_get_int(args[3]));
    bus_read(args, got.buf, got.len);
    return mp_obj_new_bytes_from_vstr(&got);
}
static MP_DEFINE_CONST_FUN_OBJ_VAR_BETWEEN(bus_read_new_obj, 4, 4, bus_read_new);
static const mp_rom_map_elem_t bus_table[] = {
    ROW(writeto, &bus_write_obj), ROW(readfrom_mem_into, &bus_read_into_obj), ROW(readfrom_mem, &bus_read_new_obj),
};
static MP_DEFINE_CONST_DICT(bus_dict, bus_table);
MP_DEFINE_CONST_OBJ_TYPE(bus_type, MP_QSTR_I2C, MP_TYPE_FLAG_NONE, make_new, numbered_new, locals_dict, &bus_dict);

static mp_obj_t timer_new(const mp_obj_type_t *type, size_t count, size_t named, const mp_obj_t *args) {
    MP_STATE_VM(tick_callback) = named_arg(count, named, args, MP_QSTR_callback, MP_OBJ_NULL);
    return numbered_new(type, count, named, args);
}
static const mp_rom_map_elem_t timer_table[] = { NUMBER(PERIODIC, 1), NUMBER(ONE_SHOT, 0) };
static MP_DEFINE_CONST_DICT(timer_dict, timer_table);
MP_DEFINE_CONST_OBJ_TYPE(timer_type, MP_QSTR_Timer, MP_TYPE_FLAG_NONE, make_new, timer_new, locals_dict, &timer_dict);

static mp_obj_t watchdog_feed(mp_obj_t self) { return (void)self, host(FEED, 0, 0, 0), mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_1(watchdog_feed_obj, watchdog_feed);
static const mp_rom_map_elem_t watchdog_table[] = { ROW(feed, &watchdog_feed_obj) };
static MP_DEFINE_CONST_DICT(watchdog_dict, watchdog_table);
MP_DEFINE_CONST_OBJ_TYPE(watchdog_type, MP_QSTR_WDT, MP_TYPE_FLAG_NONE, make_new, numbered_new, locals_dict, &watchdog_dict);

static mp_obj_t memory_subscr(mp_obj_t self, mp_obj_t address, mp_obj_t value) {
    (void)self;
    volatile uint32_t *word = (volatile uint32_t *)mp_obj_get_int_truncated(address);
    if (value == MP_OBJ_SENTINEL) {
        return mp_obj_new_int_from_uint(*word);
    }
    *word = mp_obj_get_int_truncated(value);
    return mp_const_none;
}
MP_DEFINE_CONST_OBJ_TYPE(memory_type, MP_QSTR_mem, MP_TYPE_FLAG_NONE, subscr, memory_subscr);
static const mp_obj_base_t memory_obj = { &memory_type };

static mp_obj_t machine_idle(void) { return tick(), mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_0(machine_idle_obj, machine_idle);
static mp_obj_t machine_reset(void) { return host(RESET, 0, 0, 0), mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_0(machine_reset_obj, machine_reset);
static mp_obj_t machine_reset_cause(void) { return MP_OBJ_NEW_SMALL_INT(host(RESET_CAUSE, 0, 0, 0)); }
static MP_DEFINE_CONST_FUN_OBJ_0(machine_reset_cause_obj, machine_reset_cause);
static mp_obj_t machine_disable_irq(void) { return held++, MP_OBJ_NEW_SMALL_INT(0); }
static MP_DEFINE_CONST_FUN_OBJ_0(machine_disable_irq_obj, machine_disable_irq);
static mp_obj_t machine_enable_irq(mp_obj_t state) { return (void)state, held--, mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_1(machine_enable_irq_obj, machine_enable_irq);
static mp_obj_t machine_unique_id(void) { return mp_obj_new_bytes((const byte *)"\1\2\3\4\5\6\7\10", 8); }
static MP_DEFINE_CONST_FUN_OBJ_0(machine_unique_id_obj, machine_unique_id);
static const mp_rom_map_elem_t machine_table[] = {
    ROW(Pin, &pin_type), ROW(ADC, &adc_type), ROW(SPI, &spi_type), ROW(I2C, &bus_type), ROW(Timer, &timer_type), ROW(WDT, &watchdog_type),
    ROW(mem32, &memory_obj), ROW(idle, &machine_idle_obj), ROW(reset, &machine_reset_obj), ROW(reset_cause, &machine_reset_cause_obj),
    ROW(disable_irq, &machine_disable_irq_obj), ROW(enable_irq, &machine_enable_irq_obj), ROW(unique_id, &machine_unique_id_obj),
    NUMBER(PWRON_RESET, 1), NUMBER(WDT_RESET, 3),
};
MODULE(machine);
MP_REGISTER_MODULE(MP_QSTR_machine, machine_module);

// rp2.DMA

#define DMA_COUNT (((volatile uint32_t *)0x50000000)[2])

static mp_obj_t dma_pack(size_t count, const mp_obj_t *args, mp_map_t *named) { return (void)count, (void)args, (void)named, MP_OBJ_NEW_SMALL_INT(1); }
static MP_DEFINE_CONST_FUN_OBJ_KW(dma_pack_obj, 1, dma_pack);
static mp_obj_t dma_config(size_t count, const mp_obj_t *args, mp_map_t *named) {
    (void)count, (void)args;
    mp_buffer_info_t into;
    mp_get_buffer_raise(mp_map_lookup(named, MP_OBJ_NEW_QSTR(MP_QSTR_write), MP_MAP_LOOKUP)->value, &into, MP_BUFFER_WRITE);
    DMA_COUNT = mp_obj_get_int_truncated(mp_map_lookup(named, MP_OBJ_NEW_QSTR(MP_QSTR_count), MP_MAP_LOOKUP)->value);
    host(DMA_SETUP, into.buf, 0, 0);
    return mp_const_none;
}
static MP_DEFINE_CONST_FUN_OBJ_KW(dma_config_obj, 1, dma_config);
static mp_obj_t dma_active(mp_obj_t self, mp_obj_t on) { return (void)self, (void)on, mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_2(dma_active_obj, dma_active);
static void dma_attr(mp_obj_t self, qstr name, mp_obj_t *found) {
    (void)self;
    if (found[0] != MP_OBJ_NULL) {
        return;
    }
    if (name == MP_QSTR_channel) {
        found[0] = MP_OBJ_NEW_SMALL_INT(0);
    } else if (name == MP_QSTR_count) {
        found[0] = mp_obj_new_int_from_uint(DMA_COUNT);
    } else {
        found[1] = MP_OBJ_SENTINEL;
    }
}
static const mp_rom_map_elem_t dma_table[] = { ROW(pack_ctrl, &dma_pack_obj), ROW(config, &dma_config_obj), ROW(active, &dma_active_obj) };
static MP_DEFINE_CONST_DICT(dma_dict, dma_table);
MP_DEFINE_CONST_OBJ_TYPE(dma_type, MP_QSTR_DMA, MP_TYPE_FLAG_NONE, make_new, numbered_new, attr, dma_attr, locals_dict, &dma_dict);
static const mp_rom_map_elem_t rp2_table[] = { ROW(DMA, &dma_type) };
MODULE(rp2);
MP_REGISTER_MODULE(MP_QSTR_rp2, rp2_module);

// select: one poll of the line's input, one of its output, which always takes bytes

static const mp_rom_obj_tuple_t may_read = { { &mp_type_tuple }, 2, { MP_ROM_NONE, MP_ROM_INT(1) } };
static const mp_rom_obj_tuple_t may_write = { { &mp_type_tuple }, 2, { MP_ROM_NONE, MP_ROM_INT(4) } };
static const mp_rom_obj_tuple_t readable = { { &mp_type_tuple }, 1, { MP_ROM_PTR(&may_read) } };
static const mp_rom_obj_tuple_t writable = { { &mp_type_tuple }, 1, { MP_ROM_PTR(&may_write) } };

static mp_obj_t poll_register(mp_obj_t self, mp_obj_t stream, mp_obj_t events_wanted) {
    (void)stream;
    NUMBER_OF(self) = MP_OBJ_SMALL_INT_VALUE(events_wanted);
    return mp_const_none;
}
static MP_DEFINE_CONST_FUN_OBJ_3(poll_register_obj, poll_register);
static mp_obj_t poll_ipoll(mp_obj_t self, mp_obj_t wait) {
    (void)wait;
    if (NUMBER_OF(self) == 4) {
        return MP_OBJ_FROM_PTR(&writable);
    }
    return host(BYTE_WAITS, 0, 0, 0) ? MP_OBJ_FROM_PTR(&readable) : mp_const_empty_tuple;
}
static MP_DEFINE_CONST_FUN_OBJ_2(poll_ipoll_obj, poll_ipoll);
static const mp_rom_map_elem_t poll_table[] = { ROW(register, &poll_register_obj), ROW(ipoll, &poll_ipoll_obj) };
static MP_DEFINE_CONST_DICT(poll_dict, poll_table);
MP_DEFINE_CONST_OBJ_TYPE(poll_type, MP_QSTR_poll, MP_TYPE_FLAG_NONE, make_new, numbered_new, locals_dict, &poll_dict);
static const mp_rom_map_elem_t select_table[] = { ROW(poll, &poll_type), NUMBER(POLLIN, 1), NUMBER(POLLOUT, 4) };
MODULE(select);
MP_REGISTER_MODULE(MP_QSTR_select, select_module);

// framebuf: the texts of the display go to the host, its points nowhere

static mp_obj_t frame_new(const mp_obj_type_t *type, size_t count, size_t named, const mp_obj_t *args) {
    (void)count, (void)named;
    numbered_t *made = mp_obj_malloc(numbered_t, type);
    made->number = mp_obj_get_int(args[1]); // width
    return MP_OBJ_FROM_PTR(made);
}
static mp_obj_t frame_text(size_t count, const mp_obj_t *args) {
    (void)count;
    if (NUMBER_OF(args[0]) == 128) {
        host(TEXT, mp_obj_str_get_str(args[1]), mp_obj_get_int(args[2]), mp_obj_get_int(args[3]));
    }
    return mp_const_none;
}
static MP_DEFINE_CONST_FUN_OBJ_VAR_BETWEEN(frame_text_obj, 4, 5, frame_text);
static mp_obj_t frame_fill(mp_obj_t self, mp_obj_t colour) { return (void)self, (void)colour, host(CLEAR, 0, 0, 0), mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_2(frame_fill_obj, frame_fill);
static mp_obj_t frame_none(size_t count, const mp_obj_t *args) { return (void)count, (void)args, mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_VAR(frame_none_obj, 1, frame_none);
static const mp_rom_map_elem_t frame_table[] = {
    ROW(text, &frame_text_obj), ROW(fill, &frame_fill_obj), ROW(fill_rect, &frame_none_obj), ROW(rect, &frame_none_obj),
    ROW(vline, &frame_none_obj), ROW(hline, &frame_none_obj), ROW(pixel, &frame_none_obj),
};
static MP_DEFINE_CONST_DICT(frame_dict, frame_table);
MP_DEFINE_CONST_OBJ_TYPE(frame_type, MP_QSTR_FrameBuffer, MP_TYPE_FLAG_NONE, make_new, frame_new, locals_dict, &frame_dict);
static const mp_rom_map_elem_t framebuf_table[] = { ROW(FrameBuffer, &frame_type), NUMBER(MONO_VLSB, 0) };
MODULE(framebuf);
MP_REGISTER_MODULE(MP_QSTR_framebuf, framebuf_module);
