package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"sync"
	"time"
)

// Standstills are times in which nothing of this program ran that was due: on a machine with a free core, nothing at all did. A virtual
// machine is stopped by its host without being told; what is asked meanwhile waits, whatever the service does.
const (
	standstillTick = 2 * time.Millisecond
	standstillFrom = 20 * time.Millisecond
)

// standstills watches how late a clock is that does nothing but tick.
type standstills struct {
	mu      sync.Mutex
	times   int
	longest time.Duration
	all     time.Duration
	stolen  time.Duration // by the host, as the kernel was told of it (proc(5), steal)
	done    chan struct{} // closed when nobody watches any more
}

// watchStandstills counts until the context ends.
func watchStandstills(ctx context.Context) *standstills {
	s := &standstills{done: make(chan struct{})}
	before := stolenTime()
	go func() {
		defer close(s.done)
		last := time.Now()
		for ctx.Err() == nil {
			time.Sleep(standstillTick)
			now := time.Now()
			s.saw(now.Sub(last) - standstillTick)
			last = now
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		s.stolen = stolenTime() - before
	}()
	return s
}

func (s *standstills) saw(late time.Duration) {
	if late < standstillFrom {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.times++
	s.all += late
	s.longest = max(s.longest, late)
}

func (s *standstills) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return fmt.Sprintf("%d times over %s ms, the longest %s ms, %s ms in all; stolen by the host as the kernel was told: %s ms of processor time", s.times, ms(standstillFrom), ms(s.longest), ms(s.all), ms(s.stolen))
}

// stolenTime is for how long the host has run something else, in all processors; 0 where that is not told.
func stolenTime() time.Duration {
	b, err := os.ReadFile("/proc/stat")
	if err != nil {
		return 0
	}
	line, _, _ := strings.Cut(string(b), "\n")
	var user, nice, system, idle, wait, irq, soft, steal int64
	if _, err := fmt.Sscanf(line, "cpu %d %d %d %d %d %d %d %d", &user, &nice, &system, &idle, &wait, &irq, &soft, &steal); err != nil {
		return 0
	}
	return time.Duration(steal) * time.Second / 100 // USER_HZ
}
