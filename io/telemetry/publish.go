package telemetry

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"drumwright/io/record"
)

// run is the publishing goroutine: it connects, publishes until something goes
// wrong, lets go of everything and begins anew. Each connection has a client of
// its own, without the library's reconnecting: what an old client still held in
// memory goes with it, so nothing can pile up over a long outage.
func (m *MQTT) run() {
	defer close(m.done)
	tick := time.NewTicker(m.cfg.Period)
	defer tick.Stop()
	retry := m.pace.firstRetry
	told := false
	for {
		client, lost, err := m.connect()
		if err == nil {
			m.cfg.Log.Info("mqtt connected", "broker", m.cfg.Broker)
			m.connects.Add(1)
			m.connected.Store(true)
			begun := time.Now()
			err = m.publishUntil(client, lost, tick)
			m.connected.Store(false)
			if err == nil { // stopped
				client.Disconnect(250)
				return
			}
			client.Disconnect(0)
			// A broker that throws us out again and again, as for a client id that
			// is used twice, is no reason to hurry or to fill the log.
			if time.Since(begun) > m.pace.lastRetry {
				told, retry = false, m.pace.firstRetry
			}
		}
		if !told && !errors.Is(err, errStopped) {
			told = true
			m.cfg.Log.Warn("mqtt not connected, will try again", "broker", m.cfg.Broker, "err", err)
		}
		if !m.pause(retry, tick) {
			return
		}
		retry = min(2*retry, m.pace.lastRetry)
	}
}

var errStopped = errors.New("stopped")

// pause waits before the next attempt and counts the measurements that nobody
// gets; it is false when it is time to stop.
func (m *MQTT) pause(d time.Duration, tick *time.Ticker) bool {
	over := time.NewTimer(d)
	defer over.Stop()
	for {
		select {
		case <-m.stop:
			return false
		case <-tick.C:
			m.skipped.Add(1)
		case <-over.C:
			return true
		}
	}
}

// connect makes a client and waits until it is connected, or stop.
func (m *MQTT) connect() (paho.Client, <-chan error, error) {
	lost := make(chan error, 1)
	o := paho.NewClientOptions().AddBroker(m.cfg.Broker).SetClientID(m.cfg.ClientID).
		SetUsername(m.cfg.Username).SetPassword(m.cfg.Password).
		SetAutoReconnect(false).SetConnectRetry(false).SetCleanSession(true).SetOrderMatters(false).
		SetKeepAlive(m.pace.keepAlive).SetPingTimeout(m.pace.ping).SetConnectTimeout(m.pace.connect).SetWriteTimeout(m.pace.write).
		SetWill(m.base+"/"+TopicStatus, Offline, 1, true).
		SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
	if m.cfg.TLS != nil {
		o.SetTLSConfig(m.cfg.TLS)
	}
	c := paho.NewClient(o)
	token := c.Connect()
	select {
	case <-token.Done():
		if err := token.Error(); err != nil {
			return nil, nil, err
		}
		return c, lost, nil
	case <-m.stop:
		c.Disconnect(0)
		return nil, nil, errStopped
	case <-time.After(2 * m.pace.connect): // the broker took the connection and says nothing
		c.Disconnect(0)
		return nil, nil, errors.New("the broker does not answer")
	}
}

// publishUntil publishes until stop (nil) or until the connection fails.
func (m *MQTT) publishUntil(c paho.Client, lost <-chan error, tick *time.Ticker) error {
	defer m.ahead.save()
	if err := m.send(c, m.base+"/"+TopicStatus, 1, true, []byte(Online)); err != nil {
		return err
	}
	if err := m.announce(c); err != nil {
		return err
	}
	// Whoever comes to a broker that was restarted finds what stands now.
	m.stateChanged.Store(true)
	m.alarmsChanged.Store(true)
	on := make(chan struct{}) // there are events yet to be sent
	close(on)
	var measured uint64
	for {
		if err := m.sendChanges(c); err != nil {
			return err
		}
		more, err := m.sendEvents(c)
		if err != nil {
			return err
		}
		again := on
		if !more {
			again = nil
		}
		select {
		case <-m.stop:
			return m.farewell(c)
		case err := <-lost:
			return err
		case <-m.wake:
		case <-again:
		case <-tick.C:
			m.ahead.save()
			// A scan loop that stands gives no measurements, rather than old ones.
			if s := m.last.Load(); s != nil && s.N != measured {
				measured = s.N
				if err := m.sendJSON(c, TopicMeasurements, 0, false, record.NewMeasuredView(s)); err != nil {
					return err
				}
			}
		}
	}
}

// sendChanges publishes what is retained, if it has changed.
func (m *MQTT) sendChanges(c paho.Client) error {
	s := m.last.Load()
	if s == nil {
		return nil
	}
	if m.stateChanged.Swap(false) {
		if err := m.sendJSON(c, TopicState, 1, true, record.NewStatusView(s)); err != nil {
			return err
		}
	}
	if m.alarmsChanged.Swap(false) {
		return m.sendJSON(c, TopicAlarms, 1, true, record.NewAlarmsView(s))
	}
	return nil
}

// sendEvents publishes some of what waits, and reports whether there may be more. What
// is not acknowledged waits on.
func (m *MQTT) sendEvents(c paho.Client) (more bool, err error) {
	for range together {
		e, ok := m.ahead.next()
		if !ok {
			return false, nil
		}
		if err := m.sendJSON(c, TopicEvents, 1, false, e.Event); err != nil {
			return true, err
		}
		m.ahead.acknowledged(e)
	}
	return true, nil
}

// farewell publishes what changed last and that the machine is off the air: a
// clean end sends no will. Events of a long outage wait for the next start.
func (m *MQTT) farewell(c paho.Client) error {
	end := time.Now().Add(m.pace.write)
	err := m.sendChanges(c)
	for more := true; more && err == nil && time.Now().Before(end); {
		more, err = m.sendEvents(c)
	}
	if err == nil {
		err = m.send(c, m.base+"/"+TopicStatus, 1, true, []byte(Offline))
	}
	if err != nil {
		m.cfg.Log.Warn("mqtt ended without a farewell", "err", err)
	}
	return nil
}

func (m *MQTT) sendJSON(c paho.Client, topic string, qos byte, retained bool, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("publish %s: %w", topic, err)
	}
	return m.send(c, m.base+"/"+topic, qos, retained, b)
}

// send publishes one message on a whole topic and waits until it is written, or with QoS 1
// acknowledged.
func (m *MQTT) send(c paho.Client, topic string, qos byte, retained bool, payload []byte) error {
	if !c.IsConnectionOpen() {
		return errors.New("connection lost")
	}
	token := c.Publish(topic, qos, retained, payload)
	if !token.WaitTimeout(m.pace.write) {
		return fmt.Errorf("publish %s: the broker does not answer within %v", topic, m.pace.write)
	}
	if err := token.Error(); err != nil {
		return fmt.Errorf("publish %s: %w", topic, err)
	}
	m.published.Add(1)
	return nil
}
