package influx

import (
	"bytes"
	"errors"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/tinylib/msgp/msgp"
)

// part writes one document of an answer.
func part(t testing.TB, statement int, partial bool, rows ...[]any) []byte {
	series := map[string]any{"name": "reading", "columns": []any{"time", "power"}, "values": []any{}}
	for _, row := range rows {
		series["values"] = append(series["values"].([]any), any(row))
	}
	var out bytes.Buffer
	w := msgp.NewWriter(&out)
	require.NoError(t, w.WriteMapHeader(1))
	require.NoError(t, w.WriteString("results"))
	require.NoError(t, w.WriteArrayHeader(1))
	require.NoError(t, w.WriteMapHeader(3))
	require.NoError(t, w.WriteString("statement_id"))
	require.NoError(t, w.WriteInt(statement))
	require.NoError(t, w.WriteString("series"))
	require.NoError(t, w.WriteArrayHeader(1))
	require.NoError(t, w.WriteMapHeader(3))
	for _, key := range []string{"name", "columns", "values"} { // columns before values, as servers do
		require.NoError(t, w.WriteString(key))
		require.NoError(t, w.WriteIntf(series[key]))
	}
	require.NoError(t, w.WriteString("partial"))
	require.NoError(t, w.WriteBool(partial))
	require.NoError(t, w.Flush())
	return out.Bytes()
}

func TestAnAnswerMustBeWhole(t *testing.T) {
	first, second := part(t, 0, true, []any{int64(1), 1.5}), part(t, 0, false, []any{int64(2), nil}, []any{int64(3), int64(7)})
	whole := append(bytes.Clone(first), second...)
	read := func(answer []byte, statements int) (got []cell, err error) {
		err = decodeAnswer(bytes.NewReader(answer), statements, func(h *head, row []cell) error {
			require.Equal(t, []string{"time", "power"}, h.columns)
			got = append(got, row...)
			return nil
		})
		return got, err
	}
	got, err := read(whole, 1)
	require.NoError(t, err)
	require.Len(t, got, 6)
	require.Equal(t, 1.5, got[1].real)
	require.False(t, got[3].isNumber())
	require.Equal(t, 7.0, got[5].real)

	broken := (*brokenAnswer)(nil)
	for n := range whole {
		_, err := read(whole[:n], 1)
		require.ErrorAs(t, err, &broken, "%d of %d bytes", n, len(whole))
	}
	_, err = read(whole, 2)
	require.ErrorAs(t, err, &broken, "the second statement's results are not there")

	enough := errors.New("enough")
	err = decodeAnswer(bytes.NewReader(whole), 1, func(*head, []cell) error { return enough })
	require.ErrorIs(t, err, enough)
	require.False(t, errors.As(err, &broken), "what the reader of the rows says is not the server's fault")
}

// Whatever a server or something in its place sends, the decoder ends with an
// error or rows that fit their columns.
func FuzzAnswer(f *testing.F) {
	f.Add(part(f, 0, false, []any{int64(1), 1.5}, []any{int64(2), "x"}))
	f.Add([]byte("\x81\xa5error\xa4none"))
	f.Add([]byte(`{"error":"database not found"}`))
	f.Fuzz(func(t *testing.T, answer []byte) {
		_ = decodeAnswer(bytes.NewReader(answer), 1, func(h *head, row []cell) error {
			require.Len(t, row, len(h.columns))
			return nil
		})
		_ = refusalText(answer)
	})
}
