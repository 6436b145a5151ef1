package influx

import (
	"context"
	"fmt"
)

// delivery is the sending of samples, in parts where some are refused. Parts
// that went through already are sent again within others, which changes nothing.
type delivery struct {
	store    *Store
	accepted bool // some went through
	refused  []refusedSample
}

// probes are the requests made before samples are blamed for a refusal of a
// reason not known.
const probes = 8

// settle sends all samples but those that can never be kept, which it lists.
func (d *delivery) settle(ctx context.Context, part samples) error {
	err := d.send(ctx, part)
	if err == nil {
		d.accepted = true
		return nil
	}
	switch matterOf(err) {
	case passing, setup:
		return err
	case faulty:
		dropped := droppedOf(err)
		d.accepted = d.accepted || dropped > 0 && dropped < part.lines()
		if dropped == part.lines() && (tooOld(err) || part.oneChannel()) {
			d.refuse(part, err)
			return nil
		}
		if dropped > 0 && !tooOld(err) && !part.oneChannel() {
			return d.each(ctx, part.apart(conflictOf(err)))
		}
	case unclear:
		return d.inquire(ctx, part, err)
	}
	return d.divide(ctx, part, err)
}

// divide settles the parts of a refused part; a single sample is to blame itself.
func (d *delivery) divide(ctx context.Context, part samples, why error) error {
	if len(part) == 1 {
		d.refuse(part, why)
		return nil
	}
	return d.each(ctx, part.halves())
}

func (d *delivery) each(ctx context.Context, parts []samples) error {
	for _, part := range parts {
		if err := d.settle(ctx, part); err != nil {
			return err
		}
	}
	return nil
}

func (d *delivery) refuse(part samples, why error) {
	for _, one := range part {
		d.refused = append(d.refused, refusedSample{one, why})
	}
}

// inquire finds out what a refusal of a reason not known is about. While no
// sample at all is taken it is not about samples, and stands. A single sample
// is sent again and again: something on the way may have spoilt it.
func (d *delivery) inquire(ctx context.Context, part samples, refusal error) error {
	for i := 0; i < probes && (!d.accepted || len(part) == 1); i++ {
		at := i * (len(part) - 1) / (probes - 1)
		err := d.send(ctx, part[at:at+1])
		if m := matterOf(err); err != nil && (m == passing || m == setup) {
			return err
		}
		d.accepted = d.accepted || err == nil
		if err == nil && len(part) == 1 {
			return nil
		}
	}
	if !d.accepted {
		return fmt.Errorf("no reading at all is taken, so none is blamed: %w", refusal)
	}
	return d.divide(ctx, part, refusal)
}

func (d *delivery) send(ctx context.Context, part samples) error {
	lines, err := part.encode()
	if err != nil {
		return err
	}
	return d.store.send(ctx, string(lines))
}
