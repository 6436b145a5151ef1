package receive

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"log/slog"
	"os"
	"sync"
	"time"
)

// Arrivals remembers when each recent message was first delivered, so that a
// bare number delivered twice becomes one reading and not two at different
// times.
//
// MQTT delivers a message again, with its DUP flag set and under the same
// packet identifier of the same session, when its acknowledgement did not
// get through: after a lost connection, or when the process died between
// commit and acknowledgement. A DUP message with the same session,
// identifier, topic and payload as remembered is the one remembered; it gets
// the first delivery's time and thereby changes nothing in the store.
//
// With a file, written before the message goes on, the memory outlives a
// kill of the process; not synced, it may not outlive a power cut. It cannot
// help where the protocol tells nothing: a publisher that repeats a value on
// its own, without DUP; a session the broker has forgotten; a message that a
// shared subscription hands to another member. Who needs more sends the time
// along (SenML).
type Arrivals struct {
	window int
	logger *slog.Logger

	mu     sync.Mutex
	slots  []slot
	latest map[string]int64 // arrival by topic, Unix ms
	file   *os.File         // nil: in memory only
}

type slot struct {
	sum    uint64 // of session, identifier, topic and payload
	unixMS int64
}

const (
	slotCount = 1 << 16 // as many as there are packet identifiers
	slotBytes = 16
)

// OneSession is the window of a memory that serves a single session.
const OneSession = slotCount

// OpenArrivals opens the memory kept in a file, or one in memory only when
// path is empty. The window is how many messages of a session are remembered:
// OneSession, or less when many sessions share the 65,536 places.
func OpenArrivals(path string, window int, logger *slog.Logger) (*Arrivals, error) {
	if window < 1 || window > slotCount || slotCount%window != 0 {
		return nil, fmt.Errorf("arrivals window %d is no power of two up to %d", window, slotCount)
	}
	a := &Arrivals{window: window, logger: logger, slots: make([]slot, slotCount), latest: make(map[string]int64)}
	if path == "" {
		return a, nil
	}
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open memory of arrivals: %w", err)
	}
	if err := a.load(file); err != nil {
		return nil, errors.Join(fmt.Errorf("read memory of arrivals %q: %w", path, err), file.Close())
	}
	a.file = file
	return a, nil
}

// load reads the slots; a new or short file is filled up, so that later
// writes need no more disk.
func (a *Arrivals) load(file *os.File) error {
	data := make([]byte, slotCount*slotBytes)
	n, err := io.ReadFull(file, data)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return err
	}
	for i := range a.slots {
		record := data[i*slotBytes:]
		a.slots[i] = slot{sum: binary.LittleEndian.Uint64(record), unixMS: int64(binary.LittleEndian.Uint64(record[8:]))}
	}
	_, err = file.WriteAt(data[n:], int64(n))
	return err
}

// Close closes the file.
func (a *Arrivals) Close() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.file == nil {
		return nil
	}
	err := a.file.Close()
	a.file = nil
	return err
}

// First returns when the message was first delivered, to the millisecond: now
// unless it is a repetition that is remembered. QoS 0 messages have id 0 and
// are not remembered. Messages that waited in a broker come many in a
// millisecond; those of one topic are set a millisecond apart, or only the
// last of a channel could be kept.
func (a *Arrivals) First(session string, id uint16, repeated bool, m Message, now time.Time) time.Time {
	sum := checksum(session, id, m)
	a.mu.Lock()
	defer a.mu.Unlock()
	i := a.place(session, id)
	if repeated && id != 0 && a.slots[i].sum == sum {
		return time.UnixMilli(a.slots[i].unixMS)
	}
	unixMS := a.apart(m.Topic, now.UnixMilli())
	if id != 0 {
		a.slots[i] = slot{sum: sum, unixMS: unixMS}
		a.write(i)
	}
	return time.UnixMilli(unixMS)
}

const (
	maxTopics = 1 << 16 // whose latest arrival is remembered
	// furthestApart is how far a burst can run ahead of the clock; more means
	// that the clock was set back.
	furthestApart = time.Minute
)

// apart returns the time of arrival, or the millisecond after the topic's
// latest.
func (a *Arrivals) apart(topic string, unixMS int64) int64 {
	latest, ok := a.latest[topic]
	if ok && latest >= unixMS && latest-unixMS < furthestApart.Milliseconds() {
		unixMS = latest + 1
	}
	if !ok && len(a.latest) >= maxTopics {
		clear(a.latest)
	}
	a.latest[topic] = unixMS
	return unixMS
}

func (a *Arrivals) place(session string, id uint16) int {
	h := fnv.New64a()
	_, _ = io.WriteString(h, session)
	sessions := uint64(slotCount / a.window)
	return int(h.Sum64()%sessions)*a.window + int(id)%a.window
}

func checksum(session string, id uint16, m Message) uint64 {
	h := fnv.New64a()
	for _, part := range []string{session, m.Topic} {
		_, _ = io.WriteString(h, part)
		_, _ = h.Write([]byte{0})
	}
	_, _ = h.Write([]byte{byte(id >> 8), byte(id)})
	_, _ = h.Write(m.Payload)
	return h.Sum64()
}

func (a *Arrivals) write(i int) {
	if a.file == nil {
		return
	}
	var record [slotBytes]byte
	binary.LittleEndian.PutUint64(record[:], a.slots[i].sum)
	binary.LittleEndian.PutUint64(record[8:], uint64(a.slots[i].unixMS))
	if _, err := a.file.WriteAt(record[:], int64(i)*slotBytes); err != nil {
		a.logger.Error("write memory of arrivals; it is in memory only from now on", "error", err)
		_ = a.file.Close()
		a.file = nil
	}
}
