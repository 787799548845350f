// Package dashboard is what people and programs touch over HTTP: the pages and
// the JSON API. It decides who may do what, reads requests strictly, asks
// models or assess once, and writes one answer; it knows no SQL and keeps no
// rule of the trade of its own.
//
// A request passes, in this order: the session (scs, outside gin, so that the
// cookie is set before the first byte of the answer), then gin's middleware
// (request id and log line, metrics, recovery, security headers, the refusal
// of cross-origin writes), then the right that the route names, then the
// handler. A handler returns an error or has written its answer; [Server.page]
// and [Server.api] turn an error into a page or an RFC 9457 problem by the one
// table in errors.go.
//
// Every route stands in [Server.routes], every right in roles.go.
package dashboard
