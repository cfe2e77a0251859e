package main

import (
	"archive/zip"
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// measured starts a service whose metrics are open, with a farm on it.
func measured(t *testing.T) (p *program, h *herd, metrics string) {
	t.Helper()
	metrics = freeAddr(t)
	p = newProgram(t, dataFolder(t), "serve")
	p.cmd.Env = append(p.cmd.Env, "RIPETIDE_METRICS="+metrics)
	p.serve(t)
	key, err := newProgram(t, p.data, "key", "new", "--role", "owner", "--name", "test").cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	h = &herd{t: t, key: strings.TrimSpace(string(key))}
	h.setUp(p.base)
	return p, h, metrics
}

const heldBy = 60 // Connections of each kind that hold on.

// TestConnectionsThatHoldOn has clients that send nothing, that send a byte now and
// then, that do not read, and that close their side early, and asks the service
// something else all the time.
func TestConnectionsThatHoldOn(t *testing.T) {
	unwatched(t) // It measures memory.
	t.Parallel()
	p, h, metrics := measured(t)
	host := strings.TrimPrefix(p.base, "http://")
	head := func(method, path string, length int) string {
		return fmt.Sprintf("%s /v1/farms/f%s HTTP/1.1\r\nHost: %s\r\nAuthorization: Bearer %s\r\nContent-Type: text/csv\r\nContent-Length: %d\r\n", method, path, host, h.key, length)
	}
	other, err := newProgram(t, p.data, "key", "new", "--role", "grower", "--name", "slow").cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	before := takeSample(t, metrics)

	kinds := []struct {
		name string
		send string // At once.
		drip string // Again and again until the service has had enough.
		half bool   // The client closes its side of the connection.
		deaf bool   // It does not read, and is let go of when the test ends.
		says string // How the answer begins.
	}{
		{name: "nothing"},
		{name: "headers that drip", send: head("GET", "", 0), drip: "X-Drip: 1\r\n"},
		{name: "a body that drips", send: head("PUT", "", 100_000) + "\r\n", drip: " ", says: "HTTP/1.1 408 "},
		{name: "half a request and no more", send: head("GET", "", 0), half: true, says: "HTTP/1.1 400 "},
		{name: "half a body and no more", send: head("POST", "/sightings", 1000) + "\r\n{", half: true, says: "HTTP/1.1 400 "},
		// Answered, or with 499: Go's server takes one who closes their side for gone.
		{name: "a request and no more", send: head("GET", "", 0) + "\r\n", half: true, says: "HTTP/1.1 "},
		{name: "one that does not read", send: head("GET", "/stations/long/days", 0) + "\r\n", deaf: true},
		// By somebody who takes all the places they may.
		{name: "a file that drips", send: strings.Replace(head("POST", "/stations/s0/days", 100_000), h.key, strings.TrimSpace(string(other)), 1) + "\r\n", drip: "1", deaf: true},
	}
	end := make(chan struct{})
	var clients, deaf sync.WaitGroup
	for _, k := range kinds {
		n := heldBy
		if k.deaf {
			n /= 3
		}
		for range n {
			wait := &clients
			if k.deaf {
				wait = &deaf
			}
			wait.Go(func() {
				c, err := (&net.Dialer{Timeout: 20 * time.Second}).DialContext(t.Context(), "tcp", host)
				if err != nil {
					t.Errorf("%s: %v", k.name, err)
					return
				}
				defer func() { _ = c.Close() }()
				_, _ = io.WriteString(c, k.send)
				if k.half {
					_ = c.(*net.TCPConn).CloseWrite()
				}
				done := make(chan string, 1)
				if !k.deaf {
					go func() {
						_ = c.SetReadDeadline(time.Now().Add(time.Minute))
						first, err := bufio.NewReader(c).ReadString('\n')
						if errors.Is(err, os.ErrDeadlineExceeded) {
							first = "nothing for a minute"
						}
						done <- first
					}()
				}
				tick := time.NewTicker(250 * time.Millisecond)
				defer tick.Stop()
				for {
					select {
					case first := <-done:
						if !strings.HasPrefix(first, k.says) || k.says == "" && first != "" {
							t.Errorf("%s: got %q, want %q", k.name, first, k.says)
						}
						return
					case <-end:
						return
					case <-tick.C:
						_, _ = io.WriteString(c, k.drip)
					}
				}
			})
		}
	}
	gone := make(chan struct{})
	go func() { clients.Wait(); close(gone) }()
	var took []time.Duration
	for over := false; !over; {
		select {
		case <-gone:
			over = true
		default:
		}
		begin := time.Now()
		if acked, _ := h.send(p.base, "GET", "/stations/s0", "", "", nil); !acked {
			t.Error("an ordinary request was not answered")
		}
		// Files are taken and long work goes on though twenty files trickle in.
		if len(took)%20 == 0 {
			if acked, _ := h.send(p.base, "GET", "/reviews/2018", "", "", nil); !acked {
				t.Error("long work was not done")
			}
			if acked, _ := h.send(p.base, "POST", "/stations/s0/days", "text/csv", "date,min_c,max_c\n2018-01-01,1,2\n", nil); !acked {
				t.Error("a file was not taken")
			}
		}
		took = append(took, time.Since(begin))
		time.Sleep(50 * time.Millisecond)
	}
	held := takeSample(t, metrics)
	close(end)
	deaf.Wait()
	slices.Sort(took)
	t.Logf("meanwhile %d others: median %v, p99 %v; memory %.0f MB before, %.0f MB with them", len(took), took[len(took)/2].Round(time.Microsecond), took[len(took)*99/100].Round(time.Microsecond), before.memory/(1<<20), held.memory/(1<<20))
	if held.memory > before.memory+256<<20 {
		t.Errorf("memory grew from %.0f to %.0f", before.memory, held.memory)
	}
	eventually(t, 30*time.Second, "as many goroutines as before", func() bool { return takeSample(t, metrics).goroutines <= before.goroutines+10 })
}

// endless is a file that does not end.
type endless struct{ sent *atomic.Int64 }

func (e endless) Read(b []byte) (int, error) {
	n := 0
	for n < len(b) {
		n += copy(b[n:], "2018-01-01,1,2\n")
	}
	e.sent.Add(int64(n))
	return n, nil
}

// TestBodiesThatAreTooMuch sends a gigabyte, as it is and packed, by many at once.
func TestBodiesThatAreTooMuch(t *testing.T) {
	unwatched(t) // It measures memory.
	t.Parallel()
	p, h, metrics := measured(t)
	var gz, zipped bytes.Buffer
	w, z := gzip.NewWriter(&gz), zip.NewWriter(&zipped)
	f, err := z.Create("days.csv")
	if err == nil {
		_, err = io.CopyN(io.MultiWriter(w, f), endless{&atomic.Int64{}}, 1<<30)
	}
	if err = errors.Join(err, w.Close(), z.Close()); err != nil {
		t.Fatal(err)
	}
	t.Logf("a gigabyte in %d kB of gzip, %d of zip", gz.Len()>>10, zipped.Len()>>10)

	most := takeSample(t, metrics).memory
	watch := time.NewTicker(20 * time.Millisecond)
	defer watch.Stop()
	var sent atomic.Int64
	type told struct{ name, status string }
	answers := make(chan told)
	const each = 6 // Of each kind at once.
	n := 0
	send := func(cut bool, name, path, contentType, encoding string, body func() io.Reader) {
		for range each {
			n++
			go func() {
				req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, p.base+"/v1/farms/f"+path, body())
				if err != nil {
					answers <- told{name, err.Error()}
					return
				}
				req.Header.Set("Authorization", "Bearer "+h.key)
				req.Header.Set("Content-Type", contentType)
				if encoding != "" {
					req.Header.Set("Content-Encoding", encoding)
				}
				res, err := herdClient.Do(req)
				switch {
				case err != nil && cut: // Who goes on sending may find the line cut.
					answers <- told{name, "413"}
				case err != nil:
					answers <- told{name, err.Error()}
				default:
					_, _ = io.Copy(io.Discard, res.Body)
					_ = res.Body.Close()
					answers <- told{name, res.Status[:3]}
				}
			}()
		}
	}
	const days = "/stations/s0/days"
	stream := func() io.Reader { return io.LimitReader(endless{&sent}, 1<<30) }
	send(true, "a gigabyte of days", days, "text/csv", "", stream)
	send(true, "a gigabyte of sightings", "/sightings", "application/json", "", stream)
	send(false, "gzip", days, "application/gzip", "", func() io.Reader { return bytes.NewReader(gz.Bytes()) })
	send(false, "gzip as an encoding", days, "text/csv", "gzip", func() io.Reader { return bytes.NewReader(gz.Bytes()) })
	send(false, "zip", days+"/preview", "application/zip", "", func() io.Reader { return bytes.NewReader(zipped.Bytes()) })
	refused := map[string]map[string]int{} // By what was sent and the status.
	for n > 0 {
		select {
		case <-watch.C:
			most = max(most, takeSample(t, metrics).memory)
		case a := <-answers:
			n--
			if refused[a.name] == nil {
				refused[a.name] = map[string]int{}
			}
			refused[a.name][a.status]++
		}
	}
	for name, of := range refused { // Who waits in vain for a place is told to come again.
		if of["413"] == 0 || of["413"]+of["429"]+of["503"] != each {
			t.Errorf("%s: %v", name, of)
		}
	}
	t.Log(refused)
	t.Logf("memory %.0f MB at most; of the two gigabyte streams, %d times each, %d MB were sent", most/(1<<20), each, sent.Load()>>20)
	// Thirty gigabytes are sent. One key has three files of 32 MiB in memory and two
	// of them unpacked, each of at most twice its size while it grows: 320 MiB. The
	// collector lets that double, and 900 MiB were measured; it is not far more.
	if most > 1536<<20 {
		t.Errorf("memory of %.0f MB", most/(1<<20))
	}
	if acked, _ := h.send(p.base, "GET", "/stations/s0", "", "", nil); !acked {
		t.Error("an ordinary request was not answered afterwards")
	}
}
