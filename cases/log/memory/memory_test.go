package memory

import (
	"testing"

	"go.uber.org/goleak"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/logtest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestConformance(t *testing.T) {
	logtest.Run(t, logtest.Engine{Open: func(testing.TB, string) log.Log { return New() }})
}
