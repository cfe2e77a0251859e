package weather_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"ripetide/weather"
)

// clockFile is a file of readings from one instant to another, as the clock of
// a place shows them by layout.
func clockFile(from, to time.Time, step time.Duration, place *time.Location, layout string, temp func(time.Time) float64) string {
	var b strings.Builder
	b.WriteString("time;temp °C\n")
	for at := from; at.Before(to); at = at.Add(step) {
		fmt.Fprintf(&b, "%s;%.1f\n", at.In(place).Format(layout), temp(at))
	}
	return b.String()
}

// The days around both changes of the clock in zones of many kinds: on the
// farm's clock, with offsets and in UTC the days are the same, and each has the
// extremes of the instants that lie in it. The lengths are those of the zone
// database, by date(1).
func TestSamplesAroundClockChanges(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		zone  string
		date  weather.Date
		hours float64
	}{
		{"America/New_York", weather.DateOf(2026, 3, 8), 23},
		{"America/New_York", weather.DateOf(2025, 11, 2), 25},
		{"Europe/Berlin", weather.DateOf(2026, 3, 29), 23},
		{"Europe/Berlin", weather.DateOf(2025, 10, 26), 25},
		{"Australia/Lord_Howe", weather.DateOf(2025, 10, 5), 23.5}, // By half an hour.
		{"Australia/Lord_Howe", weather.DateOf(2026, 4, 5), 24.5},
		{"Australia/Adelaide", weather.DateOf(2025, 10, 5), 23}, // In the south, half an hour off.
		{"Australia/Adelaide", weather.DateOf(2026, 4, 5), 25},
		{"America/Santiago", weather.DateOf(2025, 9, 7), 23}, // Begins at 1 o'clock.
		{"America/Santiago", weather.DateOf(2026, 4, 4), 25}, // Its last hour comes twice.
		{"America/Havana", weather.DateOf(2025, 11, 2), 25},  // Its first hour comes twice.
		{"Asia/Amman", weather.DateOf(2021, 3, 26), 23},      // As in Santiago, but east of Greenwich.
		{"Asia/Amman", weather.DateOf(2021, 10, 29), 25},     // As in Havana.
		{"Africa/Cairo", weather.DateOf(2025, 4, 25), 23},
		{"Asia/Kolkata", weather.DateOf(2026, 5, 20), 24},
		{"Pacific/Apia", weather.DateOf(2026, 5, 20), 24},
	} {
		for _, step := range []time.Duration{5 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour, 3 * time.Hour} {
			t.Run(fmt.Sprintf("%s %s %s", tt.zone, tt.date, step), func(t *testing.T) {
				t.Parallel()
				z := zone(t, tt.zone)
				from, to := tt.date.Time().Add(-72*time.Hour), tt.date.Time().Add(96*time.Hour)
				temp := func(at time.Time) float64 {
					return math.Round(100+80*math.Sin(float64(at.Unix())/9000)+float64(at.Unix()/int64(step.Seconds())%13)) / 10
				}
				lo, hi := map[string]float64{}, map[string]float64{} // By the dates that the clock shows.
				n := map[string]int{}
				for at := from; at.Before(to); at = at.Add(step) {
					date, x := at.In(z).Format(time.DateOnly), temp(at)
					if n[date]++; n[date] == 1 {
						lo[date], hi[date] = x, x
					}
					lo[date], hi[date] = math.Min(lo[date], x), math.Max(hi[date], x)
				}
				if per := tt.hours * float64(time.Hour/step) / float64(max(1, step/time.Hour)); step <= 30*time.Minute && float64(n[tt.date.String()]) != tt.hours*float64(time.Hour)/float64(step) {
					t.Fatalf("%d readings, %g expected", n[tt.date.String()], per)
				}
				for name, body := range map[string]string{
					"by the farm's clock": clockFile(from, to, step, z, "2006-01-02 15:04:05", temp),
					"with offsets":        clockFile(from, to, step, z, time.RFC3339, temp),
					"in UTC":              strings.Replace(clockFile(from, to, step, time.UTC, "02 Jan 2006 15:04:05", temp), "time", "time (UTC)", 1),
				} {
					r, err := readTable(t, body, weather.ReadOptions{Zone: z})
					if err != nil {
						t.Fatalf("%s: %v", name, err)
					}
					mustAddUp(t, r)
					for date := tt.date - 2; date <= tt.date+2; date++ {
						want := weather.Day{Date: date, Min: lo[date.String()], Max: hi[date.String()]}
						found := false
						for _, d := range r.Days {
							found = found || d == want
						}
						if !found {
							t.Fatalf("%s: no %v in %v, refused %v", name, want, r.Days, r.Refused)
						}
					}
					if tableFinding(r, "repeats") != "" {
						t.Errorf("%s: %s repeat", name, tableFinding(r, "repeats"))
					}
				}
			})
		}
	}
}

// A logger that keeps standard time has readings in the hour that the farm's
// clock skips: its own days have 24 hours, in autumn too.
func TestSamplesOfAClockThatIsNotChanged(t *testing.T) {
	t.Parallel()
	z, cet := zone(t, "Europe/Berlin"), time.FixedZone("", 3600)
	temp := func(at time.Time) float64 { return float64(at.Unix() / 1800 % 40) }
	body := clockFile(time.Date(2025, 10, 24, 23, 0, 0, 0, time.UTC), time.Date(2026, 4, 1, 23, 0, 0, 0, time.UTC), 30*time.Minute, cet, "2006-01-02 15:04", temp)
	r, err := readTable(t, body, weather.ReadOptions{Zone: z})
	if err != nil {
		t.Fatal(err)
	}
	want := "the file has readings at 2026-03-29 02:00, which the clocks of Europe/Berlin skip: its clock is not changed, and days are by it"
	if tableFinding(r, "clock") != want || len(r.Days) != 159 || len(r.Refused) != 0 {
		t.Errorf("%d days, refused %v, clock %s", len(r.Days), r.Refused, tableFinding(r, "clock"))
	}
	for _, d := range r.Days {
		if d.Min != 0 || d.Max != 39 { // Of 48 numbers that count to 40.
			t.Errorf("%v", d)
		}
	}
}

// Where the clock skips midnight, it is a time at midnight that tells.
func TestSamplesOfAClockThatIsNotChangedAtMidnight(t *testing.T) {
	t.Parallel()
	body := clockFile(time.Date(2025, 9, 5, 4, 0, 0, 0, time.UTC), time.Date(2025, 9, 9, 4, 0, 0, 0, time.UTC), time.Hour,
		time.FixedZone("", -4*3600), "2006-01-02 15:04", func(at time.Time) float64 { return float64(at.Unix() / 3600 % 24) })
	r, err := readTable(t, body, weather.ReadOptions{Zone: zone(t, "America/Santiago")})
	if err != nil || len(r.Days) != 4 || !strings.HasPrefix(tableFinding(r, "clock"), "the file has readings at 2025-09-07 00:00, which") {
		t.Errorf("%v, %v", r, err)
	}
}

// A mark for missing in the hour that is skipped is no reading in it.
func TestSamplesMarkInSkippedHour(t *testing.T) {
	t.Parallel()
	z := zone(t, "Europe/Berlin")
	body := clockFile(time.Date(2026, 3, 28, 23, 0, 0, 0, time.UTC), time.Date(2026, 3, 29, 22, 0, 0, 0, time.UTC), time.Hour,
		z, "2006-01-02 15:04", func(at time.Time) float64 { return float64(at.Hour()) })
	r, err := readTable(t, body+"2026-03-29 02:30;---\n", weather.ReadOptions{Zone: z})
	if err != nil || len(r.Days) != 1 || !strings.HasPrefix(tableFinding(r, "clock"), "times are taken as those of the farm") {
		t.Errorf("%v, %v", r, err)
	}
}

// The hour that comes twice in files that are not simply in order: the newest
// first, two exports of the same days one after the other, each row twice.
func TestSamplesHourThatComesTwiceInAnyOrder(t *testing.T) {
	t.Parallel()
	z := zone(t, "Europe/Berlin")
	for _, step := range []time.Duration{10 * time.Minute, 30 * time.Minute} {
		body := clockFile(time.Date(2025, 10, 25, 22, 0, 0, 0, time.UTC), time.Date(2025, 10, 26, 23, 0, 0, 0, time.UTC), step,
			z, "2006-01-02 15:04", func(at time.Time) float64 { return float64(at.Unix()/600%200) / 10 })
		heading, rest, _ := strings.Cut(body, "\n")
		rows := strings.SplitAfter(rest, "\n")
		rows = rows[:len(rows)-1]
		newest, twice := "", ""
		for _, r := range rows {
			newest, twice = r+newest, twice+r+r
		}
		for name, body := range map[string]string{"in order": rest, "newest first": newest, "one after the other": rest + rest, "each row twice": twice} {
			r, err := readTable(t, heading+"\n"+body, weather.ReadOptions{Zone: z})
			if err != nil || len(r.Days) != 1 || len(r.Refused) != 0 {
				t.Fatalf("%s, %s: %v, %v", step, name, r, err)
			}
			if n := strings.Count(body, "\n") - len(rows); n > 0 && tableFinding(r, "repeats") != fmt.Sprintf("%d readings that an earlier row had given", n) {
				t.Errorf("%s, %s: %s", step, name, tableFinding(r, "repeats"))
			}
		}
	}
}

// A refused day has the row of it that stands first, and readings above 60 °C
// refuse the file only if they are many and different.
func TestSamplesRowAndHotReadings(t *testing.T) {
	t.Parallel()
	r, err := readTable(t, "time;temp_c\n2026-05-20 03:00;1\n2026-05-20 02:00;1\n2026-05-20 01:00;1\n2026-05-19 23:00;1\n2026-05-19 22:00;1\n", weather.ReadOptions{})
	if err != nil || len(r.Refused) != 2 || r.Refused[0].Row != 1 || r.Refused[0].Date != "2026-05-20" || r.Refused[1].Row != 4 {
		t.Errorf("%v, %v", r, err)
	}
	for _, tt := range []struct {
		name string
		hot  func(i int) (float64, bool) // Of 288 readings.
		want bool                        // Refused.
	}{
		{"13 different ones are 4.5 %", func(i int) (float64, bool) { return 61 + float64(i)/10, i < 13*8 && i%8 == 0 }, false},
		{"15 different ones are 5.2 %", func(i int) (float64, bool) { return 61 + float64(i)/10, i < 15*8 && i%8 == 0 }, true},
		{"a broken sensor has one value", func(i int) (float64, bool) { return 85, i%2 == 0 }, false},
		{"and a cold one many", func(i int) (float64, bool) { return -91 - float64(i), i%2 == 0 }, false},
	} {
		body := "time;temp_c\n"
		for i := range 288 {
			x, hot := tt.hot(i)
			if !hot {
				x = 20
			}
			body += fmt.Sprintf("2026-05-20 %02d:%02d;%.1f\n", i/12, i%12*5, x)
		}
		_, err := readTable(t, body, weather.ReadOptions{})
		if errors.Is(err, weather.ErrWrongUnit) != tt.want {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
}

// What a day needs, at and beside each bound.
func TestSamplesCoverage(t *testing.T) {
	t.Parallel()
	minutes := func(step int, without func(minute int) bool) string {
		var b strings.Builder
		b.WriteString("time;temp_c\n")
		for d := 20; d <= 24; d++ { // Whole days beside it make the usual step.
			for m := 0; m < 24*60; m += step {
				if d == 22 && without(m) {
					continue
				}
				fmt.Fprintf(&b, "2026-05-%d %02d:%02d;%d\n", d, m/60, m%60, m/60)
			}
		}
		return b.String()
	}
	between := func(from, to int) func(int) bool { return func(m int) bool { return from <= m && m < to } }
	every := func(n, most int) func(int) bool { // Leaves out single ones.
		k := 0
		return func(m int) bool {
			if m%n == 0 && k < most {
				k++
				return true
			}
			return false
		}
	}
	for _, tt := range []struct {
		name    string
		step    int // Minutes.
		without func(int) bool
		want    string // "" if the day is kept.
	}{
		{"all", 10, between(0, 0), ""},
		{"130 of 144", 10, every(30, 14), ""},
		{"129 of 144, below 90 %", 10, every(30, 15), "129 of 144 readings, the longest stretch without one is 20 min"},
		{"exactly 90 %", 12, every(24, 12), ""}, // 108 of 120.
		{"less by one", 12, every(24, 13), "107 of 120 readings, the longest stretch without one is 24 min"},
		{"a stretch of 2 hours", 10, between(610, 720), ""}, // From 10:00 to 12:00.
		{"a stretch of 2 hours 10", 10, between(610, 730), "132 of 144 readings, the longest stretch without one is 2 h 10 min"},
		{"nothing before 2 o'clock", 10, between(0, 120), ""},
		{"nothing before 2:10", 10, between(0, 130), "131 of 144 readings, the longest stretch without one is 2 h 10 min"},
		{"nothing after 22:00", 10, between(22*60+10, 1440), ""},
		{"nothing after 21:50", 10, between(22*60, 1440), "132 of 144 readings, the longest stretch without one is 2 h 10 min"},
		{"half a day", 10, between(720, 1440), "72 of 144 readings, the longest stretch without one is 12 h 10 min"},
		{"every hour, all", 60, between(0, 0), ""},
		{"every hour, one lost", 60, between(600, 660), ""},
		{"every hour, two lost apart", 60, func(m int) bool { return m == 600 || m == 900 }, ""},
		{"every hour, two lost together", 60, between(600, 720), "22 of 24 readings, the longest stretch without one is 3 h"},
		{"every hour, three lost apart", 60, func(m int) bool { return m == 300 || m == 600 || m == 900 }, "21 of 24 readings, the longest stretch without one is 2 h"},
		{"every three hours", 180, between(0, 0), ""},
		{"every three hours, one lost", 180, between(360, 361), "7 of 8 readings, the longest stretch without one is 6 h"},
		{"every two hours", 120, between(0, 0), ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r, err := readTable(t, minutes(tt.step, tt.without), weather.ReadOptions{})
			if err != nil {
				t.Fatal(err)
			}
			mustAddUp(t, r)
			if tt.want == "" {
				if len(r.Days) != 5 || r.Days[2].Max < 21 {
					t.Errorf("%v, refused %v", r.Days, r.Refused)
				}
				return
			}
			if len(r.Days) != 4 || len(r.Refused) != 1 || r.Refused[0].Reason != tt.want || r.Refused[0].Date != "2026-05-22" ||
				r.Refused[0].Row != 2*24*60/tt.step+1 || !strings.HasPrefix(tableFinding(r, "days"), "4 kept, 1 too thin") {
				t.Errorf("refused %v, want %s; %s", r.Refused, tt.want, tableFinding(r, "days"))
			}
		})
	}
}

// Beyond 2 hours, half a step more than the step is too much.
func TestSamplesLongSteps(t *testing.T) {
	t.Parallel()
	for at, kept := range map[string]bool{"04:00": true, "04:30": true, "04:31": false, "01:30": true, "01:29": false} {
		body := "time;temp_c\n"
		for _, clock := range []string{"00:00", "03:00", "06:00", "09:00", "12:00", "15:00", "18:00", "21:00"} {
			if clock == "03:00" {
				clock = at
			}
			body += "2026-05-20 " + clock + ";10\n"
		}
		r, err := readTable(t, body, weather.ReadOptions{})
		if err != nil || (len(r.Days) == 1) != kept {
			t.Errorf("at %s: %v, %v", at, r, err)
		}
	}
}

// From a step of 2 hours on half a step more is allowed.
func TestSamplesStepsOfTwoHours(t *testing.T) {
	t.Parallel()
	for late, kept := range map[int]bool{0: true, 60: true, 61: false} {
		body := "time;temp_c\n"
		for h := 0; h < 24; h += 2 {
			m := 60 * h
			if h == 10 {
				m += late
			}
			body += fmt.Sprintf("2026-05-20 %02d:%02d;10\n", m/60, m%60)
		}
		r, err := readTable(t, body, weather.ReadOptions{})
		if err != nil || (len(r.Days) == 1) != kept {
			t.Errorf("%d minutes late: %v, %v", late, r, err)
		}
	}
}

// What no reading shows is no stretch of a dead sensor.
func TestSamplesDeadSensorBesideHole(t *testing.T) {
	t.Parallel()
	body := "time;temp_c\n"
	for m := 0; m < 1440; m += 30 {
		if h := m / 60; h < 4 || h == 6 && m%60 > 0 || 7 <= h && h < 11 {
			body += fmt.Sprintf("2026-05-20 %02d:%02d;10\n", h, m%60)
		}
	}
	r, err := readTable(t, body, weather.ReadOptions{})
	if err != nil || tableFinding(r, "sensor") != "" {
		t.Errorf("%v, %v", r, err)
	}
}

func TestSamplesDeadSensor(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		step int // Minutes.
		temp func(minute int) float64
		want string
	}{
		{"six hours the same", 30, func(m int) float64 { return 10 + float64(count(m < 600 || m > 960))*float64(1+m%60) }, "did not move by 0.1 °C for 6 h or more once, first from 2026-05-20 10:00: it may be dead"},
		{"half an hour less", 30, func(m int) float64 { return 10 + float64(count(m < 600 || m > 930))*float64(1+m%60) }, ""},
		{"moves by a tenth", 30, func(m int) float64 { return 10 + 0.1*float64(m/30%2) }, ""},
		{"moves by less", 30, func(m int) float64 { return 10 + 0.09*float64(m/30%2) }, "did not move by 0.1 °C for 6 h or more once, first from 2026-05-20 00:00: it may be dead"},
		{"every hour it is not looked at", 60, func(int) float64 { return 10 }, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			body := "time;temp_c\n"
			for m := 0; m < 1440; m += tt.step {
				body += fmt.Sprintf("2026-05-20 %02d:%02d;%.3f\n", m/60, m%60, tt.temp(m))
			}
			r, err := readTable(t, body, weather.ReadOptions{})
			if err != nil || len(r.Days) != 1 || tableFinding(r, "sensor") != tt.want {
				t.Errorf("%v, %v: %s", r, err, tableFinding(r, "sensor"))
			}
		})
	}
}
