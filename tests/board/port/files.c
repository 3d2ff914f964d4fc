// Files, folders, check codes and time: `open`, `os`, `time`, `binascii`, `hashlib`, `uctypes.addressof` over the host's.
#include <string.h>

#include "py/builtin.h"
#include "py/lexer.h"
#include "py/mperrno.h"
#include "py/mphal.h"
#include "py/objstr.h"
#include "py/reader.h"
#include "py/runtime.h"
#include "py/stream.h"

#include "host.h"

#define ROW(name, object) { MP_ROM_QSTR(MP_QSTR_##name), MP_ROM_PTR(object) }
#define MODULE(name)                                                                                                   \
    static MP_DEFINE_CONST_DICT(name##_globals, name##_table);                                                         \
    const mp_obj_module_t name##_module = { .base = { &mp_type_module }, .globals = (mp_obj_dict_t *)&name##_globals }
#define TEXT_OF(object) mp_obj_str_get_str(object)

static int checked(int answer) {
    if (answer < 0) {
        mp_raise_OSError(-answer);
    }
    return answer;
}

static mp_buffer_info_t buffer_of(mp_obj_t object, int access) {
    mp_buffer_info_t info;
    mp_get_buffer_raise(object, &info, access);
    return info;
}

// open

typedef struct {
    mp_obj_base_t base;
    int fd;
    uint8_t cache[256]; // a file of littlefs has one of a page
} file_t;

static mp_uint_t file_read(mp_obj_t self, void *into, mp_uint_t size, int *error) {
    int got = host(READ, ((file_t *)MP_OBJ_TO_PTR(self))->fd, into, size);
    return got < 0 ? (*error = -got, MP_STREAM_ERROR) : (mp_uint_t)got;
}

static mp_uint_t file_write(mp_obj_t self, const void *from, mp_uint_t size, int *error) {
    int put = host(WRITE, ((file_t *)MP_OBJ_TO_PTR(self))->fd, from, size);
    return put < 0 ? (*error = -put, MP_STREAM_ERROR) : (mp_uint_t)put;
}

static mp_uint_t file_ioctl(mp_obj_t self, mp_uint_t request, uintptr_t arg, int *error) {
    file_t *file = MP_OBJ_TO_PTR(self);
    if (request == MP_STREAM_SEEK) {
        struct mp_stream_seek_t *seek = (void *)arg;
        int at = host(SEEK, file->fd, seek->offset, seek->whence);
        if (at < 0) {
            *error = -at;
            return MP_STREAM_ERROR;
        }
        seek->offset = at;
        return 0;
    }
    if (request == MP_STREAM_CLOSE) {
        if (file->fd >= 0) {
            host(CLOSE, file->fd, 0, 0);
        }
        file->fd = -1;
        return 0;
    }
    if (request == MP_STREAM_FLUSH) {
        return 0;
    }
    *error = MP_EINVAL;
    return MP_STREAM_ERROR;
}

static const mp_rom_map_elem_t file_table[] = {
    ROW(read, &mp_stream_read_obj), ROW(readinto, &mp_stream_readinto_obj),
    ROW(readline, &mp_stream_unbuffered_readline_obj), ROW(write, &mp_stream_write_obj),
    ROW(seek, &mp_stream_seek_obj), ROW(tell, &mp_stream_tell_obj), ROW(flush, &mp_stream_flush_obj),
    ROW(close, &mp_stream_close_obj), ROW(__del__, &mp_stream_close_obj), ROW(__enter__, &mp_identity_obj),
    ROW(__exit__, &mp_stream___exit___obj),
};
static MP_DEFINE_CONST_DICT(file_dict, file_table);
static const mp_stream_p_t bytes_stream = { .read = file_read, .write = file_write, .ioctl = file_ioctl };
static const mp_stream_p_t text_stream = { .read = file_read, .write = file_write, .ioctl = file_ioctl, .is_text = true };
MP_DEFINE_CONST_OBJ_TYPE(bytes_file, MP_QSTR_FileIO, MP_TYPE_FLAG_ITER_IS_STREAM, protocol, &bytes_stream, locals_dict, &file_dict);
MP_DEFINE_CONST_OBJ_TYPE(text_file, MP_QSTR_TextIOWrapper, MP_TYPE_FLAG_ITER_IS_STREAM, protocol, &text_stream, locals_dict, &file_dict);

mp_obj_t mp_builtin_open(size_t count, const mp_obj_t *args, mp_map_t *named) {
    (void)named;
    const char *mode = count > 1 ? TEXT_OF(args[1]) : "r";
    int fd = checked(host(OPEN, TEXT_OF(args[0]), mode, 0));
    file_t *file = mp_obj_malloc_with_finaliser(file_t, strchr(mode, 'b') ? &bytes_file : &text_file);
    file->fd = fd;
    return MP_OBJ_FROM_PTR(file);
}
MP_DEFINE_CONST_FUN_OBJ_KW(mp_builtin_open_obj, 1, mp_builtin_open);

// import

typedef struct {
    int fd;
    uint16_t length, at;
    uint8_t piece[256];
} reader_t;

static mp_uint_t next_byte(void *data) {
    reader_t *reader = data;
    if (reader->at >= reader->length) {
        int got = reader->length ? host(READ, reader->fd, reader->piece, sizeof(reader->piece)) : 0;
        reader->at = 0;
        reader->length = got < 0 ? 0 : got;
        if (got <= 0) {
            return MP_READER_EOF;
        }
    }
    return reader->piece[reader->at++];
}

static void close_reader(void *data) {
    host(CLOSE, ((reader_t *)data)->fd, 0, 0);
    m_del_obj(reader_t, data);
}

void mp_reader_new_file(mp_reader_t *reader, qstr name) {
    int fd = checked(host(OPEN, qstr_str(name), "rb", 0));
    reader_t *own = m_new_obj(reader_t);
    own->fd = fd;
    own->at = 0;
    own->length = host(READ, fd, own->piece, sizeof(own->piece));
    *reader = (mp_reader_t) { own, next_byte, close_reader };
}

mp_lexer_t *mp_lexer_new_from_file(qstr name) {
    mp_reader_t reader;
    mp_reader_new_file(&reader, name);
    return mp_lexer_new(name, reader);
}

mp_import_stat_t mp_import_stat(const char *path) { return (mp_import_stat_t)host(KIND, path, 0, 0); }

// os

static mp_obj_t os_remove(mp_obj_t path) { return checked(host(REMOVE, TEXT_OF(path), 0, 0)), mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_1(os_remove_obj, os_remove);
static mp_obj_t os_rename(mp_obj_t from, mp_obj_t to) { return checked(host(RENAME, TEXT_OF(from), TEXT_OF(to), 0)), mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_2(os_rename_obj, os_rename);
static mp_obj_t os_mkdir(mp_obj_t path) { return checked(host(MAKE_FOLDER, TEXT_OF(path), 0, 0)), mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_1(os_mkdir_obj, os_mkdir);
static mp_obj_t os_sync(void) { return mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_0(os_sync_obj, os_sync);

static mp_obj_t ten(int at_0, int at_1, int at_2, int at_3, int at_6) {
    mp_obj_t items[10];
    for (size_t i = 0; i < 10; i++) {
        items[i] = MP_OBJ_NEW_SMALL_INT(i == 0 ? at_0 : i == 1 ? at_1 : i == 2 ? at_2 : i == 3 || i == 4 ? at_3 : i == 6 ? at_6 : 0);
    }
    return mp_obj_new_tuple(10, items);
}

static mp_obj_t os_stat(mp_obj_t path) {
    int kind = host(KIND, TEXT_OF(path), 0, 0);
    if (kind == MP_IMPORT_STAT_NO_EXIST) {
        mp_raise_OSError(MP_ENOENT);
    }
    return ten(kind == MP_IMPORT_STAT_DIR ? 0x4000 : 0x8000, 0, 0, 0, host(SIZE, TEXT_OF(path), 0, 0));
}
static MP_DEFINE_CONST_FUN_OBJ_1(os_stat_obj, os_stat);
static mp_obj_t os_statvfs(mp_obj_t path) { return (void)path, ten(4096, 4096, 352, host(BLOCKS_FREE, 0, 0, 0), 0); }
static MP_DEFINE_CONST_FUN_OBJ_1(os_statvfs_obj, os_statvfs);

static mp_obj_t os_listdir(size_t count, const mp_obj_t *args) {
    mp_obj_t names = mp_obj_new_list(0, NULL);
    char name[64];
    for (int i = 0;; i++) {
        int length = checked(host(ENTRY, count ? TEXT_OF(args[0]) : "/", name, i));
        if (!length) {
            return names;
        }
        mp_obj_list_append(names, mp_obj_new_str(name, length));
    }
}
static MP_DEFINE_CONST_FUN_OBJ_VAR_BETWEEN(os_listdir_obj, 0, 1, os_listdir);
static mp_obj_t os_urandom(mp_obj_t count) {
    vstr_t got;
    vstr_init_len(&got, mp_obj_get_int(count));
    host(RANDOM, got.buf, got.len, 0);
    return mp_obj_new_bytes_from_vstr(&got);
}
static MP_DEFINE_CONST_FUN_OBJ_1(os_urandom_obj, os_urandom);

static const mp_rom_map_elem_t os_table[] = {
    ROW(remove, &os_remove_obj), ROW(rmdir, &os_remove_obj), ROW(rename, &os_rename_obj), ROW(mkdir, &os_mkdir_obj),
    ROW(sync, &os_sync_obj), ROW(stat, &os_stat_obj), ROW(statvfs, &os_statvfs_obj), ROW(listdir, &os_listdir_obj),
    ROW(urandom, &os_urandom_obj),
};
MODULE(os);
MP_REGISTER_MODULE(MP_QSTR_os, os_module);

// time

#define PERIOD_MASK 0x3fffffff
static mp_obj_t time_ms(void) { return MP_OBJ_NEW_SMALL_INT(mp_hal_ticks_ms() & PERIOD_MASK); }
static MP_DEFINE_CONST_FUN_OBJ_0(time_ms_obj, time_ms);
static mp_obj_t time_us(void) { return MP_OBJ_NEW_SMALL_INT(mp_hal_ticks_us() & PERIOD_MASK); }
static MP_DEFINE_CONST_FUN_OBJ_0(time_us_obj, time_us);
static mp_obj_t time_diff(mp_obj_t to, mp_obj_t from) {
    mp_uint_t gone = MP_OBJ_SMALL_INT_VALUE(to) - MP_OBJ_SMALL_INT_VALUE(from);
    return MP_OBJ_NEW_SMALL_INT((mp_int_t)((gone + 0x20000000) & PERIOD_MASK) - 0x20000000);
}
static MP_DEFINE_CONST_FUN_OBJ_2(time_diff_obj, time_diff);
static mp_obj_t time_add(mp_obj_t to, mp_obj_t more) { return MP_OBJ_NEW_SMALL_INT((MP_OBJ_SMALL_INT_VALUE(to) + mp_obj_get_int(more)) & PERIOD_MASK); }
static MP_DEFINE_CONST_FUN_OBJ_2(time_add_obj, time_add);
static mp_obj_t time_sleep(mp_obj_t duration) { return (void)duration, mp_const_none; }
static MP_DEFINE_CONST_FUN_OBJ_1(time_sleep_obj, time_sleep);
static const mp_rom_map_elem_t time_table[] = {
    ROW(ticks_ms, &time_ms_obj), ROW(ticks_us, &time_us_obj), ROW(ticks_diff, &time_diff_obj), ROW(ticks_add, &time_add_obj),
    ROW(sleep, &time_sleep_obj), ROW(sleep_ms, &time_sleep_obj), ROW(sleep_us, &time_sleep_obj),
};
MODULE(time);
MP_REGISTER_MODULE(MP_QSTR_time, time_module);

// binascii, hashlib, uctypes

static mp_obj_t to_hex(mp_obj_t data) {
    mp_buffer_info_t from = buffer_of(data, MP_BUFFER_READ);
    vstr_t hex;
    vstr_init_len(&hex, 2 * from.len);
    for (size_t i = 0; i < 2 * from.len; i++) {
        hex.buf[i] = "0123456789abcdef"[((uint8_t *)from.buf)[i / 2] >> (i & 1 ? 0 : 4) & 15];
    }
    return mp_obj_new_bytes_from_vstr(&hex);
}
static MP_DEFINE_CONST_FUN_OBJ_1(to_hex_obj, to_hex);

static int digit(int letter) { return letter <= '9' ? letter - '0' : (letter | 32) - 'a' + 10; }
static mp_obj_t from_hex(mp_obj_t data) {
    mp_buffer_info_t from = buffer_of(data, MP_BUFFER_READ);
    const char *hex = from.buf;
    vstr_t plain;
    vstr_init_len(&plain, from.len / 2);
    for (size_t i = 0; i < from.len / 2; i++) {
        plain.buf[i] = digit(hex[2 * i]) << 4 | digit(hex[2 * i + 1]);
    }
    return mp_obj_new_bytes_from_vstr(&plain);
}
static MP_DEFINE_CONST_FUN_OBJ_1(from_hex_obj, from_hex);

static mp_obj_t crc(size_t count, const mp_obj_t *args) {
    mp_buffer_info_t from = buffer_of(args[0], MP_BUFFER_READ);
    return mp_obj_new_int_from_uint(host(CRC32, from.buf, from.len, count > 1 ? mp_obj_get_int_truncated(args[1]) : 0));
}
static MP_DEFINE_CONST_FUN_OBJ_VAR_BETWEEN(crc_obj, 1, 2, crc);
static const mp_rom_map_elem_t binascii_table[] = { ROW(hexlify, &to_hex_obj), ROW(unhexlify, &from_hex_obj), ROW(crc32, &crc_obj) };
MODULE(binascii);
MP_REGISTER_MODULE(MP_QSTR_binascii, binascii_module);

typedef struct {
    mp_obj_base_t base;
    int number;
    uint8_t state[108]; // what the chip's own object holds
} hash_t;

static mp_obj_t hash_update(mp_obj_t self, mp_obj_t data) {
    mp_buffer_info_t from = buffer_of(data, MP_BUFFER_READ);
    host(HASH_UPDATE, ((hash_t *)MP_OBJ_TO_PTR(self))->number, from.buf, from.len);
    return mp_const_none;
}
static MP_DEFINE_CONST_FUN_OBJ_2(hash_update_obj, hash_update);
static mp_obj_t hash_new(const mp_obj_type_t *type, size_t count, size_t named, const mp_obj_t *args) {
    (void)named;
    hash_t *hash = mp_obj_malloc(hash_t, type);
    hash->number = host(HASH_NEW, 0, 0, 0);
    if (count) {
        hash_update(MP_OBJ_FROM_PTR(hash), args[0]);
    }
    return MP_OBJ_FROM_PTR(hash);
}
static mp_obj_t hash_digest(mp_obj_t self) {
    vstr_t digest;
    vstr_init_len(&digest, 32);
    host(HASH_DIGEST, ((hash_t *)MP_OBJ_TO_PTR(self))->number, digest.buf, 0);
    return mp_obj_new_bytes_from_vstr(&digest);
}
static MP_DEFINE_CONST_FUN_OBJ_1(hash_digest_obj, hash_digest);
static const mp_rom_map_elem_t hash_table[] = { ROW(update, &hash_update_obj), ROW(digest, &hash_digest_obj) };
static MP_DEFINE_CONST_DICT(hash_dict, hash_table);
MP_DEFINE_CONST_OBJ_TYPE(hash_type, MP_QSTR_sha256, MP_TYPE_FLAG_NONE, make_new, hash_new, locals_dict, &hash_dict);
static const mp_rom_map_elem_t hashlib_table[] = { ROW(sha256, &hash_type) };
MODULE(hashlib);
MP_REGISTER_MODULE(MP_QSTR_hashlib, hashlib_module);

static mp_obj_t address_of(mp_obj_t data) { return mp_obj_new_int_from_uint((uint32_t)buffer_of(data, MP_BUFFER_READ).buf); }
static MP_DEFINE_CONST_FUN_OBJ_1(address_of_obj, address_of);
static const mp_rom_map_elem_t uctypes_table[] = { ROW(addressof, &address_of_obj) };
MODULE(uctypes);
MP_REGISTER_MODULE(MP_QSTR_uctypes, uctypes_module);
