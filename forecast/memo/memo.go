// Package memo holds on to what is dear to make and always comes out the same,
// so that many who ask for it have it made once.
package memo

import (
	"container/list"
	"context"
	"errors"
	"sync"
)

// standard is how many values a cache keeps that is told no number.
const standard = 32

// Cache keeps the values that were asked for last. A value must always be the
// same for its key, and nobody may change it. An error with the method OfCaller is
// for who got it alone. The zero Cache is ready, and safe for concurrent use.
type Cache[K comparable, V any] struct {
	Most int // Values that are kept; 0: 32.

	mu     sync.Mutex
	kept   map[K]*list.Element
	order  list.List // Of entry[K, V], those asked for last first.
	making map[K]*call[V]
}

type entry[K comparable, V any] struct {
	key   K
	value V
}

// call is a value that somebody is making.
type call[V any] struct {
	done  chan struct{} // Closed when it is made.
	value V
	err   error
	given bool // The maker gave up before its end, or may not: its error is no answer for others.
}

// ownError is an error that is only about who asked, such as that they ask too
// often. Others who wait make the value themselves.
type ownError interface {
	error
	OfCaller()
}

// Get returns the value of key, which it has made if it is not kept. Of many who
// ask at once one makes it and the others wait. A value that does not last, and
// an error, are for those who wait for them and not kept.
func (c *Cache[K, V]) Get(ctx context.Context, key K, make func(context.Context) (value V, lasts bool, err error)) (V, error) {
	for {
		c.mu.Lock()
		if v, ok := c.look(key); ok {
			c.mu.Unlock()
			return v, nil
		}
		m, others := c.making[key]
		if !others {
			m = c.begin(key)
			c.mu.Unlock()
			return c.make(ctx, key, m, make)
		}
		c.mu.Unlock()
		select {
		case <-ctx.Done():
			var none V
			return none, context.Cause(ctx)
		case <-m.done:
		}
		if !m.given {
			return m.value, m.err
		}
	}
}

// Look returns the value of key if it is kept.
func (c *Cache[K, V]) Look(key K) (V, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.look(key)
}

// Put keeps a value.
func (c *Cache[K, V]) Put(key K, value V) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.put(key, value)
}

// make makes a value and tells it to all who wait, whatever comes of it.
func (c *Cache[K, V]) make(ctx context.Context, key K, m *call[V], do func(context.Context) (V, bool, error)) (V, error) {
	m.given = true // Until do returns: it may panic.
	lasts := false
	defer func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.making, key)
		if lasts && m.err == nil {
			c.put(key, m.value)
		}
		close(m.done)
	}()
	m.value, lasts, m.err = do(ctx)
	_, own := errors.AsType[ownError](m.err)
	m.given = own || m.err != nil && ctx.Err() != nil
	return m.value, m.err
}

func (c *Cache[K, V]) begin(key K) *call[V] {
	if c.making == nil {
		c.making = map[K]*call[V]{}
	}
	m := &call[V]{done: make(chan struct{})}
	c.making[key] = m
	return m
}

func (c *Cache[K, V]) look(key K) (V, bool) {
	e, ok := c.kept[key]
	if !ok {
		var none V
		return none, false
	}
	c.order.MoveToFront(e)
	return e.Value.(entry[K, V]).value, true
}

func (c *Cache[K, V]) put(key K, value V) {
	if c.kept == nil {
		c.kept = map[K]*list.Element{}
	}
	if e, ok := c.kept[key]; ok {
		c.order.Remove(e)
	}
	c.kept[key] = c.order.PushFront(entry[K, V]{key, value})
	most := c.Most
	if most == 0 {
		most = standard
	}
	for len(c.kept) > most {
		last := c.order.Back()
		delete(c.kept, c.order.Remove(last).(entry[K, V]).key)
	}
}
