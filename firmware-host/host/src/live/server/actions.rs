//! What the operator wants done.

use axum::body::Bytes;
use axum::extract::{Extension, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::Shared;
use super::access::Role;
use super::guard::refused;
use crate::live::orders::Order;

pub(super) async fn order(shared: State<Shared>, role: Extension<Role>, body: Bytes) -> Response {
    if role.0 != Role::Operator {
        return refused(StatusCode::FORBIDDEN, "only the operator may do this");
    }
    let Some(orders) = &shared.0.0.orders else {
        return refused(StatusCode::CONFLICT, "there is no receiver to give orders to");
    };
    let order: Order = match serde_json::from_slice(&body) {
        Ok(order) => order,
        Err(e) => return refused(StatusCode::BAD_REQUEST, &format!("this is no order: {e}")),
    };
    match orders.give(order).await {
        Ok(()) => StatusCode::NO_CONTENT.into_response(),
        Err(error) => refused(StatusCode::CONFLICT, error.what()),
    }
}
