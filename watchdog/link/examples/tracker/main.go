// Command tracker publishes a pose a hundred times a second, in twenty lines:
// tracker HOST:PORT VEHICLE.
package main

import (
	"fmt"
	"os"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

func main() {
	o := mqtt.NewClientOptions().AddBroker("tcp://" + os.Args[1]).SetProtocolVersion(4).SetKeepAlive(2 * time.Second).
		SetWriteTimeout(200 * time.Millisecond).SetConnectRetry(true).SetConnectRetryInterval(100 * time.Millisecond).
		SetMaxReconnectInterval(100 * time.Millisecond)
	client, began, id := mqtt.NewClient(o), time.Now(), os.Getpid() // a new id each time the tracker starts
	client.Connect()
	for seq := 1; ; seq++ {
		client.Publish("pinfold/"+os.Args[2]+"/pose", 0, false, fmt.Sprintf(`{"stamp":%.9f,"seq":%d,"tracker":"tracker-%d",`+
			`"confidence":1,"position":{"x":%g,"y":%g,"z":%g},"orientation":{"w":1,"x":0,"y":0,"z":0}}`,
			time.Since(began).Seconds(), seq, id, 1.0, 2.0, 0.0)) // metres, from your tracker; wait for no token
		time.Sleep(10 * time.Millisecond)
	}
}
