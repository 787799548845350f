package assess

// UUID is a universally unique identifier (RFC 9562). The zero UUID means none.
type UUID [16]byte
