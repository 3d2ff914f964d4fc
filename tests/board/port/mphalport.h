static inline void mp_hal_set_interrupt_char(int c) { (void)c; }
mp_uint_t mp_hal_ticks_ms(void);
mp_uint_t mp_hal_ticks_us(void);
int mp_hal_stdin_rx_chr(void);
uintptr_t mp_hal_stdio_poll(uintptr_t flags);
mp_uint_t mp_hal_stdout_tx_strn(const char *text, size_t length);
void mp_hal_stdout_tx_strn_cooked(const char *text, size_t length);
void mp_hal_stdout_tx_str(const char *text);
