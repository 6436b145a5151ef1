// Package login says who may see and change the pages.
//
// Users stand in a file with a role and the Argon2id hash of a password. Who logs
// in gets a session; a session ends by itself, by logging out, and when the
// user's password, or the user, is changed in the file. Engineers may look and
// change, viewers may look. A homeowner gets a signed link that opens the notes of
// one plant and nothing else.
//
// It is opinionated. The file is read anew for every request, so that a change
// counts at once; while it cannot be understood nobody is let in. Without users
// the pages are open to who reaches them, which the caller permits for this
// machine only; once a user was seen, they are not open again before a restart.
// Every form carries a token of its session besides what browsers say of where a
// request comes from. Secrets never reach the log.
//
// Two things a person can do and nothing prevents: keep a user out by guessing at
// the name all the time (who is logged in stays so), and pass a link on.
package login
