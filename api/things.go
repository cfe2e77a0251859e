package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
)

// thing is how one kind of a farm's things (stations, varieties, plantings) is
// served: put, got by its identifier, and listed. P is the part of the path
// that names one, In the body with that path, T the domain's type, Out and
// List what is answered.
type thing[P, In, T, Out, List any] struct {
	name, names string // "station", "stations": in the path and in texts.
	listed      string // What the list says of itself, if it must say more.

	id   func(*P) (farm, id string)
	read func(*In) (farm string, x T, err error)
	out  func(T) Out
	list func([]Out) List

	put func(ctx context.Context, farm string, x T, by string) (created bool, err error)
	one func(ctx context.Context, farm, id string) (T, error)
	all func(ctx context.Context, farm string) ([]T, error)
}

// serve registers the three operations.
func (h thing[P, In, T, Out, List]) serve(s *Server) {
	path := "/v1/farms/{farm}/" + h.names
	one := path + "/{" + h.name + "}"
	tags := []string{"Set-up"}
	add(s, Owner, huma.Operation{
		Method: http.MethodPut, Path: one, OperationID: "put-" + h.name, Tags: tags,
		Summary: "Create or replace a " + h.name,
	}, func(ctx context.Context, in *In) (*put[Out], error) {
		farm, x, err := h.read(in)
		if err != nil {
			return nil, err
		}
		created, err := h.put(ctx, farm, x, by(ctx))
		if err != nil {
			return nil, err
		}
		return putDone(created, h.out(x)), nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: one, OperationID: "get-" + h.name, Tags: tags, Summary: "Read a " + h.name,
	}, func(ctx context.Context, in *P) (*got[Out], error) {
		farm, id := h.id(in)
		x, err := h.one(ctx, farm, id)
		if err != nil {
			return nil, err
		}
		return &got[Out]{h.out(x)}, nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "list-" + h.names, Tags: tags, Summary: "List the " + h.names + h.listed,
	}, func(ctx context.Context, in *FarmPath) (*got[List], error) {
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		all, err := h.all(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		outs := make([]Out, 0, len(all))
		for _, x := range all {
			outs = append(outs, h.out(x))
		}
		return &got[List]{h.list(outs)}, nil
	})
}
