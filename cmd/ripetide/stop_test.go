package main

import (
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"
)

// inHand is a request whose body is on its way: the service waits for the rest.
type inHand struct {
	rest   *io.PipeWriter
	status chan string // Of the answer, or why there is none.
}

// halfSent begins to send days of a station and stops in the middle.
func halfSent(t *testing.T, u *underLoad, station, text string) inHand {
	t.Helper()
	body, rest := io.Pipe()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, u.service.base+"/v1/farms/f/stations/"+station+"/days", body)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+u.key)
	req.Header.Set("Content-Type", "text/csv")
	req.Header.Set("Expect", "100-continue") // Nothing of the body is sent before the service reads it.
	x := inHand{rest, make(chan string, 1)}
	go func() {
		res, err := (&http.Client{Transport: &http.Transport{ExpectContinueTimeout: time.Minute}}).Do(req)
		if err != nil {
			x.status <- err.Error()
			return
		}
		defer res.Body.Close()
		answer, err := io.ReadAll(res.Body)
		x.status <- fmt.Sprintf("%d %s %v", res.StatusCode, answer, err)
	}()
	if _, err := io.WriteString(rest, text[:len(text)/2]); err != nil { // It returns once that is sent.
		t.Fatal(err)
	}
	return x
}

// TestStoppingFinishesWhatIsInHand ends the service as systemd does, under load and
// with a file that is on its way: whoever was heard is answered, nobody new is, and
// the private database is stopped with it.
func TestStoppingFinishesWhatIsInHand(t *testing.T) {
	u := newUnderLoad(t, dataFolder(t), "")
	days, w := bulkDays(0)
	half := halfSent(t, u, "bulk", days)
	address := strings.TrimPrefix(u.service.base, "http://")
	if err := u.service.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	eventually(t, 5*time.Second, "nobody new is heard", func() bool {
		conn, err := net.DialTimeout("tcp", address, time.Second)
		if err == nil {
			_ = conn.Close()
		}
		return errors.Is(err, syscall.ECONNREFUSED)
	})
	if _, err := postmasterOf(u.conf.Data); err != nil {
		t.Errorf("the database was stopped before its service: %v", err)
	}
	if _, err := io.WriteString(half.rest, days[len(days)/2:]); err != nil {
		t.Fatal(err)
	}
	if err := half.rest.Close(); err != nil {
		t.Fatal(err)
	}
	got := <-half.status
	if !strings.HasPrefix(got, "200 ") {
		t.Errorf("what was in hand was answered %.300s", got)
	}
	u.ledger.note(w, strings.HasPrefix(got, "200 "))
	select {
	case <-u.service.done:
	case <-time.After(stopTime):
		t.Fatal("the service does not end")
	}
	if code := u.service.cmd.ProcessState.ExitCode(); code != 0 {
		t.Errorf("exit status %d: %s", code, u.service.out)
	}
	if pid, err := postmasterOf(u.conf.Data); err == nil {
		t.Errorf("its database still runs: %d", pid)
	}
	close(u.stop)
	u.running.Wait()
	u.ledger.check(t, u.conf)
}

// TestStoppingDoesNotWaitForEver: a file whose rest never comes does not keep the
// service, nor its database, for longer than it says.
func TestStoppingDoesNotWaitForEver(t *testing.T) {
	u := newUnderLoad(t, dataFolder(t), "")
	days, _ := bulkDays(0)
	half := halfSent(t, u, "bulk", days)
	if err := u.service.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	took := eventually(t, 2*stopTime, "the service ends", func() bool {
		select {
		case <-u.service.done:
			return true
		default:
			return false
		}
	})
	if pid, err := postmasterOf(u.conf.Data); err == nil {
		t.Errorf("its database still runs: %d", pid)
	}
	_ = half.rest.CloseWithError(errors.New("gone"))
	if got := <-half.status; strings.HasPrefix(got, "200 ") {
		t.Errorf("half a file was taken: %s", got)
	}
	close(u.stop)
	u.running.Wait()
	u.ledger.check(t, u.conf)
	t.Logf("ended after %v", took.Round(time.Millisecond))
}
