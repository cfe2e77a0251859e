// Package api is the outside of the service: REST resources under /v1, their
// OpenAPI document, and errors as RFC 9457 problems.
//
// The document is made from the Go types in this package by huma, so that it
// cannot drift from what is read and checked; tests hold live answers against
// it. The package reaches the database only through the interfaces it owns.
package api
