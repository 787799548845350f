package dashboard

// right names something a role may do.
type right string

// open needs no one to be signed in.
const open right = "open"
