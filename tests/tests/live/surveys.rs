//! Surveys over angle and over places, ordered as the page's buttons do; that over
//! distance is walked in the browser.

use std::io::{Read, Write};
use std::time::Duration;

use coilrig_tests::emulator::Emulator;
use coilrig_tests::json::number;
use coilrig_tests::live::LivePage;
use coilrig_tests::program::coilrig;
use serde_json::{Value, json};
use tempfile::tempdir;

const SCENE: &str = "[receiver]\nserial = \"EMU-0008\"\nposition_m = [0, 0, 0.5]\n\
                     field_per_count = 2e-9\n[[unit]]\nname = \"eight\"\n\
                     position_m = [2.2, 1.7, -1.3]\nmoment_a_m2 = [3e-3, 2e-3, 1e-3]\n\
                     first_pulse_s = 0.2\n";

/// An operator's browser, as far as orders go.
struct Operator {
    page: LivePage,
    cookie: String,
    origin: String,
}

impl Operator {
    fn order(&self, order: &Value) -> u16 {
        let headers = [self.cookie.as_str(), &self.origin];
        self.page.ask("POST /orders", &headers, &order.to_string()).status
    }

    /// The survey as everybody is told it when they come.
    fn survey(&self) -> Value {
        let mut stream = self.page.connect();
        let host = format!("127.0.0.1:{}", self.page.port());
        write!(stream, "GET /stream HTTP/1.1\r\nHost: {host}\r\n{}\r\n\r\n", self.cookie).unwrap();
        let mut heard = String::new();
        let mut some = [0; 4096];
        loop {
            let told = heard.split_once("event: survey\ndata: ").map(|parts| parts.1);
            if let Some((document, _)) = told.and_then(|told| told.split_once("\n\n")) {
                return serde_json::from_str(document).unwrap();
            }
            let count = stream.read(&mut some).unwrap();
            assert!(count > 0, "{heard}");
            heard += &String::from_utf8_lossy(&some[..count]);
        }
    }

    /// Take every point: `carry` puts everything in place for what is told of it.
    fn walk(&self, mut carry: impl FnMut(&str)) {
        loop {
            let step = self.survey()["open"]["step"].clone();
            if step["is"] == "finished" {
                return;
            }
            assert_eq!(step["is"], "place", "{step}");
            carry(step["place"].as_str().unwrap());
            // What is on its way is still from the old place.
            std::thread::sleep(Duration::from_millis(300));
            assert_eq!(self.order(&json!({"do": "take_point", "seconds": 5})), 204);
            while self.survey()["open"]["step"]["is"] != "decide" {
                std::thread::sleep(Duration::from_millis(300));
            }
            assert_eq!(self.order(&json!({"do": "press", "step": "keep"})), 204);
        }
    }

    fn picture(&self) -> String {
        let answer = self.page.ask("GET /survey", &[&self.cookie], "");
        assert_eq!(answer.status, 200);
        answer.text
    }
}

#[test]
fn angle_and_grid_are_the_surveys_of_the_command() {
    let folder = tempdir().unwrap();
    let mut emulator = Emulator::in_real_time(folder.path(), SCENE);
    let (port, calibration) = (emulator.device().to_owned(), emulator.calibration().to_owned());
    let arguments = ["--port", &port, "--calibration", &calibration, "--out", "surveys"];
    let page = LivePage::start(folder.path(), &arguments, 1);
    let operator = Operator { cookie: page.cookie(0), origin: page.origin(), page };
    assert_eq!(operator.order(&json!({"do": "press", "step": "keep"})), 409);
    assert_eq!(operator.order(&json!({"do": "take_point", "seconds": 5})), 409);
    assert_eq!(operator.page.ask("GET /survey", &[&operator.cookie], "").status, 404);

    let plan = json!({"kind": "grid", "size_m": [4, 4], "spacing_m": [2, 4], "height_m": 0.5});
    let begin = json!({"do": "begin_survey", "name": "grid", "plan": plan});
    assert_eq!(operator.order(&begin), 204);
    assert_eq!(operator.order(&json!({"do": "take_point", "seconds": 1e9})), 409);
    operator.walk(|place| {
        // "x 2 m, y 4 m, z 0.5 m"
        let words: Vec<&str> = place.split([' ', ',']).collect();
        let numbers: Vec<&str> =
            words.into_iter().filter(|word| word.parse::<f64>().is_ok()).collect();
        emulator.type_line(&format!("place {}", numbers.join(" ")));
    });
    assert!(operator.picture().contains("measured vectors"));
    let located = coilrig(folder.path(), &["locate", "surveys/grid/readings.csv", "--json"]).json();
    let position: Vec<f64> =
        located["position_m"].as_array().unwrap().iter().map(|r| number(&r["value"])).collect();
    for (found, meant) in position.iter().zip([2.2, 1.7, -1.3]) {
        assert!((found - meant).abs() < 0.15, "{position:?}");
    }
    assert_eq!(operator.order(&json!({"do": "leave_survey"})), 204);
    assert_eq!(operator.survey(), json!({"others": ["grid"]}));
    // It is there already, and is never begun again.
    assert_eq!(operator.order(&begin), 409);

    emulator.type_line("place 5.2 1.7 -1.3");
    let plan = json!({"kind": "angle", "step_deg": 60, "turned": "unit", "distance_m": 3});
    assert_eq!(operator.order(&json!({"do": "begin_survey", "name": "turn", "plan": plan})), 204);
    operator.walk(|angle| {
        emulator.type_line(&format!("turn eight {}", angle.trim_end_matches('°')));
    });
    assert!(operator.picture().contains("Coupling over angle"));
    assert_eq!(operator.page.end(), Some(0));
    let told = coilrig(folder.path(), &["survey", "angle", "--out", "surveys/turn", "--json"]);
    let kept = told.json()["readings"].as_array().unwrap().len();
    assert_eq!(kept, 6);
}
